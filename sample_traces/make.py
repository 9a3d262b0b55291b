"""Make the sample traces again, byte for byte: python sample_traces/make.py

Everything is simulated: an invented pit bike with two clutch springs, an invented rider, an invented strip on open
water. The order is the one a careful rider would choose: standard, stiff, stiff, standard, so that a warming engine
or a turning wind does not favour a spring. The springs differ truly by about 0.20 s from 0 to 30 mph, all of it
below 20 mph. The random numbers were started so that the runs drawn show about that difference: a chance draw of four
runs each would as often show half or double of it.
"""

from __future__ import annotations

from pathlib import Path

from traceanalyze.simulate import AccelerometerUnit, Practice, Receiver, Recipe, Strip, Surroundings, make_log

HERE = Path(__file__).resolve().parent
STRIP = Strip(lat_deg=41.0, lon_deg=-38.0, altitude_m=12.0, heading_deg=75.0)
#: 1.5 m/s of wind from 250 degrees, nearly from behind on the way out; 21 C, 1009 hPa, 55 %: 1.187 kg/m^3.
AROUND = Surroundings(air_density_kgm3=1.187, wind_mps=1.49, grade_pct=0.1)
NINE_UTC_S = 1779008400
BLOCK = Practice(launches=2, passes=1, shuffles=1)
TWO_BLOCKS = Practice(launches=4, passes=2, shuffles=1, aborted=1)
RECEIVER = Receiver(rate_hz=10.0, sigma_mps=0.05)
#: A slower receiver carried by the same rider on the same ride.
SECOND_RECEIVER = Receiver(rate_hz=1.0, sigma_mps=0.08, slow_tau_s=2.0, delay_s=0.2)
ACCELEROMETER = AccelerometerUnit(
    rate_hz=100.0,
    roll_deg=14.0,
    pitch_deg=-22.0,
    yaw_deg=31.0,
    bias_mps2=(0.11, -0.07, 0.16),
    scale=(1.008, 0.994, 1.003),
    clock_offset_s=0.14,
)

RECIPES = {
    "standard_spring_1.nmea": Recipe(
        random=291, setup="standard", practice=BLOCK, receiver=RECEIVER, strip=STRIP, around=AROUND,
        start_utc_s=NINE_UTC_S,
    ),
    "stiff_spring.nmea": Recipe(
        random=292, setup="stiff", practice=TWO_BLOCKS, receiver=RECEIVER, strip=STRIP, around=AROUND,
        start_utc_s=NINE_UTC_S + 2400,
    ),
    "standard_spring_2.nmea": Recipe(
        random=293, setup="standard", practice=BLOCK, receiver=RECEIVER, strip=STRIP, around=AROUND,
        start_utc_s=NINE_UTC_S + 5100,
    ),
    "standard_spring_1_second_logger.gpx": Recipe(
        random=291, setup="standard", practice=BLOCK, receiver=SECOND_RECEIVER, strip=STRIP, around=AROUND,
        start_utc_s=NINE_UTC_S, log_format="gpx",
    ),
    "accelerometer.csv": Recipe(
        random=294, setup="standard", practice=Practice(launches=3, passes=0, shuffles=1),
        receiver=Receiver(rate_hz=1.0, sigma_mps=0.05), accelerometer=ACCELEROMETER, strip=STRIP, around=AROUND,
        start_utc_s=NINE_UTC_S + 6600, log_format="csv",
    ),
}  # fmt: skip


def files() -> dict[str, bytes]:
    """Return the content of every log and of the truth beside it, by file name."""
    content: dict[str, bytes] = {}
    for name, recipe in RECIPES.items():
        made = make_log(recipe)
        content |= {name: made.data, f"{name}.truth.json": made.truth_bytes()}
    return content


if __name__ == "__main__":
    for name, data in files().items():
        (HERE / name).write_bytes(data)
        print(f"{name}: {len(data)} bytes")
