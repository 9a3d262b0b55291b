"""Facts about the machine -> physics: gearing, resistance, air, thrust, and what a change would do.

SI units; engine speeds in turns a minute (`_rpm`), as everybody says them. Nothing here reads a file or changes a
measured number; predictions and corrections stand beside the raw figures, each with its uncertainty.

`gearing` teeth, tyre, engine speed; `roadload` and `coastdown` what holds the vehicle back; `air` density and its
altitude; `climbs`, `thrust`, `prediction`, `tops` measured launches and passes geared anew; `corrections` level road
and reference air.
"""
