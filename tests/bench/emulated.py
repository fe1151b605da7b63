"""Figures of the real firmware image, executed instruction by instruction in virtual time."""

import re
import subprocess
from typing import Any

from tests.bench.figure import at_most, exactly, figure
from tests.emulator import figures as emulated
from tests.emulator.build import ROOT, build_image
from tests.emulator.longrun import long_run
from tests.published import load

PHASES = [k * 61e-6 for k in range(16)]  # where in the millisecond the loop opens
LONGEST_HIGH_US = load("adc24_timing")["expected"]["T3_high_us"]["max"]
FLASH, RAM = 32_256, 2_048  # of an ATmega328P, less 512 bytes of boot loader


def figures() -> list[dict[str, Any]]:
    """Edges lost, times until all is off, catch after reversal, an hour of the jig, sizes."""
    # Not 16,000 sharp: that stays in step with the 1 kHz interrupts and hides the worst latency.
    full = emulated.under_load(16_033, 200_000)
    opening = max(
        emulated.opening_to_pin_low(pin, in_flight, phase)
        for pin in ("GUARD", "ESTOP")
        for in_flight in (False, True)
        for phase in PHASES
    )
    drive = max(
        emulated.opening_to_drive_low(pin, phase) for pin in ("GUARD", "ESTOP") for phase in PHASES
    )
    catch = max(emulated.reversal_to_catch(phase) for phase in PHASES)
    flash, ram = _sizes()
    hour = long_run(3_600)
    lost = full.lost_counts + full.illegal_edges + full.merged_edges
    return [
        exactly(f"encoder edges lost of {full.edges} at 16,033/s, all streams on",
                lost, "edges", 0),
        exactly("samples missed and frames lost under that load",
                full.missed_samples + full.lost_frames, "frames", 0),
        at_most("guard or e-stop opening to solenoids off", opening * 1e6, "us", 200),
        at_most("host silence to solenoids off", emulated.silence_to_off() * 1e3, "ms", 600),
        at_most("guard or e-stop opening to drive off, everything streaming",
                round(drive * 1e3, 4), "ms", 5),
        at_most("host silence to drive off, everything streaming",
                emulated.silence_to_drive_off() * 1e3, "ms", 600),
        at_most("reversal at 4 m/s to catch command", catch * 1e3, "ms", 2),
        at_most("worst wait of an encoder edge", full.encoder_latency_cycles / 16, "us", 62.5),
        figure("conversions of the bridge converter in an emulated hour, everything streaming",
               hour.conversions, "frames", ">= 288000", hour.conversions >= 288_000),
        exactly("conversions lost or wrong among them", hour.lost + hour.wrong, "frames", 0),
        exactly("angle blocks lost meanwhile", hour.lost_blocks, "frames", 0),
        exactly("gaps and damaged frames meanwhile", hour.gaps + hour.damaged, "frames", 0),
        at_most("longest time its clock was high", hour.longest_high_us, "us", LONGEST_HIGH_US),
        at_most("scatter of a mean of 64 angle conversions with noise of half a step each",
                round(emulated.angle_noise_steps().rms, 4), "steps of 1/1024", 0.1),
        at_most("flash used", flash, "bytes", FLASH),
        at_most("static RAM used", ram, "bytes", RAM * 3 // 4),
    ]  # fmt: skip


def _sizes() -> tuple[int, int]:
    """Flash and static RAM of the image (text + data, data + bss)."""
    build_image()
    told = subprocess.run(
        ["avr-size", str(ROOT / "firmware" / "build" / "bladerig.elf")],
        capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    text, data, bss = map(int, re.findall(r"\d+", told.splitlines()[1])[:3])
    return text + data, data + bss
