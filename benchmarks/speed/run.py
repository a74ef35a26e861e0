"""Measure how fast castsugar solves, in one run and on one core.

``python benchmarks/speed/run.py [--quick] [--json FILE]``; see ../README.md.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from pathlib import Path

THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
os.environ.update(dict.fromkeys(THREADS, "1"))  # before numpy is loaded

import measure  # noqa: E402
from measure import Numbers  # noqa: E402

from castsugar.rows import shipped_species  # noqa: E402

GASES = [13, 28, 46]


def measured(quick: bool) -> Numbers:
    """Measure everything."""
    # First: a child's peak can start from that of its parent, which is small now.
    peaks = [measure.memory(2_000 if quick else 50_000)]
    table = shipped_species()
    counts = [10, 100, 1000] + ([] if quick else [10_000, 50_000])
    rounds, cases = (2, 6) if quick else (7, 200)
    batched, second = measure.routes(table, rounds, cases)
    return {
        "machine": measure.machine(),
        "batch": batched,
        "second_route": second,
        "one_mix": measure.one_mix(20 if quick else 50),
        "start_up": measure.start_up(2 if quick else 5),
        "growth_with_mixes": measure.growth_with_mixes(table, counts),
        "memory": peaks,
        "growth_with_gases": measure.growth_with_gases(table, GASES, 1 if quick else 5),
    }


def report(found: Numbers) -> str:
    """Return the findings as text, at most 80 columns wide."""
    return "\n".join(
        [
            *_machine(found["machine"]),
            *_batch(found["batch"]),
            *_second(found["second_route"]),
            *_single(found["one_mix"], found["start_up"]),
            *_mixes(found["growth_with_mixes"], found["memory"]),
            *_gases(found["growth_with_gases"]),
        ]
    )


def _machine(m: Numbers) -> list[str]:
    return [
        f"{m['processor'][:60]}, {m['system']}, {m['threads']} thread",
        f"Python {m['python']}, numpy {m['numpy']}, Cantera {m['cantera']}, "
        f"castsugar {m['castsugar']}",
    ]


def _batch(b: Numbers) -> list[str]:
    return [
        "",
        f"{b['mixes']:,} mixes: KNO3 0.40-0.85, water 0-0.10, the rest sucrose;",
        "6.894757 MPa to 101325 Pa, all shipped gases, certificate included",
        f"  minimum of {b['runs']} runs  {b['min_s']:8.3f} s "
        f"{b['min_us_per_mix']:8.1f} us per mix",
        f"  median             {b['median_s']:8.3f} s "
        f"{b['median_us_per_mix']:8.1f} us per mix",
        f"  median, shuffled   {b['shuffled_median_s']:8.3f} s "
        f"{b['shuffled_median_us_per_mix']:8.1f} us per mix",
        f"  failed {b['failed']}, cold {b['cold']}; largest residual of a certificate "
        f"{b['largest_residual_over_limit']:.1e} of its limit",
    ]


def _second(s: Numbers) -> list[str]:
    failed = f"{s['failed_mean_ms']:.0f} ms each" if s["failed"] else "none"
    return [
        "",
        f"The Cantera route, in turns with the runs above: {s['cases']} of these mixes "
        f"(seed {s['seed']})",
        f"  solved {s['solved']}: {s['cantera_mean_ms']:.1f} ms per case in the mean, "
        f"{s['cantera_median_ms']:.1f} ms in the median;",
        f"  {s['cantera_tp_solves_per_case']:.0f} T-p solves per case, "
        f"{s['cantera_ms_per_tp_solve']:.2f} ms each",
        f"  within Cantera's own calls: {s['cantera_own_mean_ms']:.1f} ms in the mean, "
        f"{s['cantera_own_median_ms']:.1f} ms in the median",
        f"  not solved {s['failed']} (left out of the ratios): {failed}",
        "  ratio per case                 batch, us     of the mean   of the median",
        f"  inside the 5,151           {s['batch_us_per_case_in_5151']:13.1f}"
        f"{s['ratio_of_mean_in_5151']:16.0f}{s['ratio_of_median_in_5151']:16.0f}",
        f"  inside, Cantera's own calls{s['batch_us_per_case_in_5151']:12.1f}"
        f"{s['ratio_of_own_mean_in_5151']:16.0f}"
        f"{s['ratio_of_own_median_in_5151']:16.0f}",
        f"  these {s['cases']:4d} alone           {s['batch_us_per_case_alone']:13.1f}"
        f"{s['ratio_of_mean_alone']:16.0f}{s['ratio_of_median_alone']:16.0f}",
        "  largest difference "
        f"{s['agreed_largest_flame_temperature_difference_K']:.1e} K in the flame, "
        f"{s['agreed_largest_characteristic_velocity_difference_ppm']:.1e} ppm in c*",
        f"  disputed (beyond 0.1 K or 50 ppm, not in that line) {s['disputed']}, "
        f"with two throats {s['disputed_with_two_throats']}",
    ]


def _single(one: Numbers, start: Numbers) -> list[str]:
    return [
        "",
        "One mix",
        f"  evaluate(mix, confirm=False) {one['median_ms']:8.2f} ms "
        f"(median of {one['calls']} mixes, most {one['max_ms']:.1f} ms)",
        f"  import castsugar             {start['import_ms']:8.1f} ms "
        f"(median of {start['processes']} fresh processes)",
        f"  import, weigh, first mix     {start['import_and_first_mix_ms']:8.1f} ms",
    ]


def _mixes(growth: list[Numbers], peaks: list[Numbers]) -> list[str]:
    lines = ["", "Growth with the number of mixes (drawn from the same region)"]
    lines += ["     mixes    runs    median, s    us per mix"]
    lines += [
        f"  {g['mixes']:8,d}{g['runs']:8d}{g['time_s']:13.4f}{g['per_mix_us']:14.1f}"
        for g in growth
    ]
    lines += [
        f"  peak memory at {p['mixes']:,} mixes: {p['peak_MB']:.0f} MB, "
        f"{p['above_base_MB']:.0f} MB above import and data"
        for p in peaks
    ]
    return lines


def _gases(growth: list[Numbers]) -> list[str]:
    lines = [
        "",
        "Growth with the number of gases: the 5,151 mixes with the most abundant",
        "gases only, and the largest error that this makes",
        "  gases   condensed    median, s    us per mix   flame, K    c*, ppm",
    ]
    lines += [
        f"  {g['gases']:5d}{g['condensed_phases']:12d}{g['time_s']:13.3f}"
        f"{g['per_mix_us']:14.1f}"
        f"{g['largest_flame_temperature_error_K']:11.1e}"
        f"{g['largest_characteristic_velocity_error_ppm']:11.1e}"
        for g in growth
    ]
    return lines


def main() -> None:
    """Measure, print and write."""
    parser = argparse.ArgumentParser(description="How fast castsugar solves.")
    parser.add_argument("--quick", action="store_true", help="fewer and shorter runs")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write all numbers")
    options = parser.parse_args()
    found = measured(options.quick)
    sys.stdout.write(report(found) + "\n")
    if options.json:
        text = json.dumps(found, indent=2) + "\n"
        options.json.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
