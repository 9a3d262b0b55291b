/* Reads values out under the pointer or by the arrow keys, ties lines to rows, switches runs on and off. */
(function(){'use strict';
var all=function(s,n){return Array.prototype.slice.call((n||document).querySelectorAll(s))};
var off={};
function value(l,x){for(var i=1;i<l.x.length;i++){var a=l.x[i-1],b=l.x[i];
 if(a===null||b===null||l.y[i-1]===null||l.y[i]===null)continue;
 if((a<=x&&x<=b)||(b<=x&&x<=a))return a===b?l.y[i]:l.y[i-1]+(l.y[i]-l.y[i-1])*(x-a)/(b-a)}return null}
all('.chart[tabindex]').forEach(function(box){
 var block=document.getElementById('data-'+box.id);if(!block)return;
 var d=JSON.parse(block.textContent),svg=box.querySelector('svg'),out=document.querySelector('output[data-for="'+box.id+'"]');
 var cursor=document.createElementNS('http://www.w3.org/2000/svg','line');cursor.setAttribute('class','cursor');
 cursor.setAttribute('y1',d.top);cursor.setAttribute('y2',d.bottom);cursor.style.display='none';svg.appendChild(cursor);
 var at=null;
 function show(x){at=Math.max(d.x[0],Math.min(d.x[1],x));
  var px=d.x[2]+(at-d.x[0])/(d.x[1]-d.x[0])*(d.x[3]-d.x[2]);
  cursor.setAttribute('x1',px);cursor.setAttribute('x2',px);cursor.style.display='';
  var told=d.lines.filter(function(l){return !off[l.run]});
  if(told.length>12)told=told.filter(function(l){return !l.run});
  var digits={s:3,'m/s\u00b2':2}[d.units[1]]||1;
  var parts=told.map(function(l){var v=value(l,at);return v===null?null:l.label+' '+v.toFixed(digits)}).filter(Boolean);
  var rpm=d.rpm&&at*d.rpm[0]>=d.rpm[1]?' ('+Math.round(at*d.rpm[0]/10)*10+' rpm)':'';
  out.textContent='at '+at.toFixed(2)+' '+d.units[0]+rpm+': '+(parts.join('; ')||'no value')+(parts.length?' '+d.units[1]:'')}
 function hide(){cursor.style.display='none';out.textContent=''}
 svg.addEventListener('pointermove',function(e){var r=svg.getBoundingClientRect(),w=svg.viewBox.baseVal.width;
  var k=Math.min(r.width/w,r.height/svg.viewBox.baseVal.height),px=(e.clientX-r.left-(r.width-w*k)/2)/k;
  show(d.x[0]+(px-d.x[2])/(d.x[3]-d.x[2])*(d.x[1]-d.x[0]))});
 svg.addEventListener('pointerleave',hide);box.addEventListener('blur',hide);
 box.addEventListener('keydown',function(e){var s=(d.x[1]-d.x[0])/(e.shiftKey?10:60);
  if(e.key==='ArrowRight')show((at===null?d.x[0]:at)+s);else if(e.key==='ArrowLeft')show((at===null?d.x[1]:at)-s);
  else if(e.key==='Home')show(d.x[0]);else if(e.key==='End')show(d.x[1]);else if(e.key==='Escape')hide();else return;
  e.preventDefault()})});
function of(run){return all('[data-run="'+run+'"]')}
all('tr[data-run]').forEach(function(row){var run=row.getAttribute('data-run');
 if(!of(run).some(function(n){return n.tagName!=='TR'}))return;
 function light(on){of(run).forEach(function(n){n.classList.toggle('lit',on)})}
 row.addEventListener('pointerenter',function(){light(true)});row.addEventListener('pointerleave',function(){light(false)});
 row.addEventListener('focusin',function(){light(true)});row.addEventListener('focusout',function(){light(false)});
 var cell=row.cells[row.cells.length-1],label=document.createElement('label'),box=document.createElement('input');
 box.type='checkbox';box.checked=true;box.setAttribute('aria-label','draw '+row.cells[0].textContent);
 box.addEventListener('change',function(){off[run]=!box.checked;
  of(run).forEach(function(n){n.classList.toggle(n.tagName==='TR'?'out':'off',!box.checked)})});
 label.className='switch';label.appendChild(box);cell.appendChild(label)});
all('.chart [data-run]').forEach(function(n){var run=n.getAttribute('data-run');if(!run)return;
 n.addEventListener('pointerenter',function(){of(run).forEach(function(m){m.classList.add('lit')})});
 n.addEventListener('pointerleave',function(){of(run).forEach(function(m){m.classList.remove('lit')})})});
})();
