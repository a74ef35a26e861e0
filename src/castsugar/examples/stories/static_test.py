# %% [markdown]
# # A static test from a raw logger
#
# A motor was fired on a stand, and a logger wrote a file. What did the motor deliver?
# Both are those of a club that does not exist: all of it is invented. First we make the
# file ugly, as loggers do: remarks on top, semicolons, decimal commas, milliseconds,
# kilogram-force, psi over ambient.

# %%
from pathlib import Path

import castsugar as cs

club = Path("invented-club")
if not club.exists():
    cs.bench.write_example(club)
clean = cs.firing.read_trace(club / "shot.csv")
rows = ["Stand 2, channel A/B; INVENTED", "t [ms];chamber pressure [psig];load [kgf]"]
for time, pressure, thrust in zip(clean.time, clean.pressure, clean.thrust):
    row = f"{1e3 * time:.0f};{pressure / 6894.757:.2f};{thrust / 9.80665:.3f}"
    rows.append(row.replace(".", ","))
raw = Path("raw-logger.csv")
raw.write_text("\n".join(rows) + "\n", "utf-8")

# %% [markdown]
# It is read as it stands. What could mean two things is asked about, never guessed;
# what was left out is told.

# %%
recording = cs.firing.read_trace(raw)
print(f"{len(recording.time)} samples, pressure is {recording.pressure_kind}")
print("; ".join(recording.notes) or "nothing was left out")

# %% [markdown]
# The recording alone gives impulse and burn time. With the throat and the mass of
# propellant it gives what the propellant delivered, each number with its doubt.

# %%
reduction = cs.firing.reduce_recording(
    cs.firing.Recorded(
        time=recording.time,
        pressure=recording.pressure,
        thrust=recording.thrust,
        pressure_is_gauge=recording.pressure_kind == "gauge",
    ),
    cs.firing.Stand(
        propellant_mass=0.368,
        throat_diameter=8e-3,
        throat_after=8.2e-3,
        exit_diameter=18e-3,
    ),
)
impulse = reduction.results["total_impulse"]
print(f"total impulse {impulse.value:.0f} N s, {100 * impulse.u / impulse.value:.0f} %")

# %% [markdown]
# Now beside the mix and the motor as they were predicted on the day.

# %%
world = cs.bench.read(club / "bench.toml")
mix = world.mix("KNO3:60 powdered sugar:17 corn syrup:23")
test = cs.firing.review(reduction, mix=mix, hardware=world.motor)
print(test)
delivered = test.characteristic_velocity_efficiency
low, high = delivered.interval
print(f"delivered over ideal c*: {delivered.value:.2f} ({low:.2f} to {high:.2f})")
print("alarms:", ", ".join(a.test for a in test.alarms) or "none")

# %%
axes = cs.plot.firing(test, "pressure")
axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.12))
axes.figure.savefig("static_test.png", bbox_inches="tight")

# %% [markdown]
# Thrust stands beside pressure for a reason: one sensor cannot clear itself. If they
# disagree, the test says so and teaches nothing.
#
# Hot mixes burn people and houses; local law decides. Fire from a distance, behind a
# barrier, and nobody goes near a case that is or may be under pressure.
