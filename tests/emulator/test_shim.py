"""Tiny programs prove each place where the C layer mends libsimavr.

What the real part does is from the ATmega328P data sheet: sections "Interrupt Response Time" (four
cycles, four more out of sleep), "USART" (10 bits a frame, UDRE0, DOR0), "TIFR1" (a flag is cleared
by writing a one to it), "Pin Change and External Interrupts" (EICRA), "MCUSR".
"""

import pytest

from tests.emulator.build import build_program, read_hex
from tests.emulator.chip import (
    RESET_PIN,
    RESET_POWER,
    RESET_WATCHDOG,
    Chip,
    PinEvent,
    Stop,
    Vector,
)

B, C, D = 0, 1, 2
MS = 16_000
GPIOR0, GPIOR1, GPIOR2, PORTB, DDRB = 0x3E, 0x4A, 0x4B, 0x25, 0x24

HEAD = """
#include <avr/io.h>
#include <avr/interrupt.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <avr/eeprom.h>
"""


def chip_with(body: str) -> Chip:
    return Chip(build_program(HEAD + body))


def test_clearing_one_timer_flag_leaves_the_others() -> None:
    chip = chip_with(
        """int main(void) { TCCR1B = _BV(ICES1) | _BV(CS10);
        while (!(TIFR1 & _BV(TOV1)) || !(TIFR1 & _BV(ICF1))) ;
        TIFR1 = _BV(ICF1); GPIOR0 = TIFR1; GPIOR1 = 1; for (;;) ; }"""
    )
    chip.edges([PinEvent(MS, B, 0, 1)])
    chip.run(10 * MS)
    assert chip.peek(GPIOR1) == 1
    assert chip.peek(GPIOR0) & 0x21 == 0x01, "TOV1 stays, ICF1 goes"


def test_an_interrupt_whose_flag_was_cleared_does_not_run() -> None:
    chip = chip_with(
        """ISR(TIMER1_OVF_vect) { GPIOR0++; }
        int main(void) { TIMSK1 = _BV(TOIE1); TCCR1B = _BV(CS10); while (!(TIFR1 & _BV(TOV1))) ;
        TIFR1 = _BV(TOV1); GPIOR1 = 1; sei(); for (;;) ; }"""
    )
    chip.run(7 * MS)
    assert (chip.peek(GPIOR1), chip.peek(GPIOR0)) == (1, 0)
    chip.run(9 * MS)
    assert chip.peek(GPIOR0) == 1


def test_a_capture_carries_the_cycle_of_its_edge() -> None:
    chip = chip_with(
        """int main(void) { TCCR1B = _BV(ICES1) | _BV(CS10); GPIOR1 = 1;
        while (!(TIFR1 & _BV(ICF1))) ; GPIOR0 = ICR1L; GPIOR2 = ICR1H; for (;;) ; }"""
    )
    ticks = []
    for edge in (5_000, 5_100):
        chip.drive(B, 0, 0)
        chip.power_up(chip.cycle)
        start = chip.cycle
        chip.edges([PinEvent(start + edge, B, 0, 1)])
        chip.run(start + 10_000)
        ticks.append(chip.peek(GPIOR0) | chip.peek(GPIOR2) << 8)
    assert abs(ticks[1] - ticks[0] - 100) <= 4, "to the end of one instruction"


@pytest.mark.parametrize("level", [0, 1])
def test_a_pull_up_does_not_overrule_a_driven_input(level: int) -> None:
    chip = chip_with(
        """int main(void) { PORTD = _BV(4); GPIOR0 = PIND; DDRD = _BV(7);
        for (;;) { PORTD ^= _BV(7); GPIOR1 = PIND; GPIOR2++; } }"""
    )
    chip.drive(D, 4, level)
    chip.run(MS)
    assert chip.peek(GPIOR2) > 1
    assert [chip.peek(r) >> 4 & 1 for r in (GPIOR0, GPIOR1)] == [level, level]


def test_a_pull_up_holds_an_open_input_high() -> None:
    chip = chip_with("int main(void) { PORTD = _BV(4); for (;;) GPIOR0 = PIND; }")
    chip.run(MS)
    assert chip.peek(GPIOR0) == 0x10


COUNT_EDGES = """ISR(INT0_vect) { GPIOR0++; }
int main(void) { EICRA = _BV(ISC00); EIFR = _BV(INTF0); EIMSK = _BV(INT0); sei(); for (;;) ; }"""


def test_a_pin_that_was_low_before_its_sense_was_set_does_not_interrupt_for_ever() -> None:
    chip = chip_with(
        """ISR(INT0_vect) { GPIOR0++; }
        int main(void) { EICRA = _BV(ISC00); EIMSK = _BV(INT0); sei(); for (;;) ; }"""
    )
    for again in (False, True):
        if again:
            chip.reset_pin()
        chip.drive(D, 2, 1)
        chip.drive(D, 2, 0)
        start = chip.cycle
        chip.run(start + 2 * MS)
        before = chip.peek(GPIOR0)
        assert before <= 1, "a flag from before may stand"
        chip.edges([PinEvent(start + 3 * MS, D, 2, 1), PinEvent(start + 4 * MS, D, 2, 0)])
        chip.run(start + 5 * MS)
        assert chip.peek(GPIOR0) - before == 2


def test_edges_queued_before_a_reset_still_come_after_it() -> None:
    chip = chip_with(COUNT_EDGES)
    chip.drive(D, 2, 1)
    chip.edges([PinEvent(5 * MS, D, 2, 0), PinEvent(6 * MS, D, 2, 1)])
    chip.run(2 * MS)
    chip.reset_pin()
    assert chip.cycle >= 2 * MS, "time does not start again"
    chip.run(7 * MS)
    assert chip.peek(GPIOR0) == 2


def test_an_edge_that_meets_a_waiting_interrupt_is_counted_as_merged() -> None:
    chip = chip_with(
        """int main(void) { EICRA = _BV(ISC00); EIMSK = _BV(INT0); for (;;) ; }
        EMPTY_INTERRUPT(INT0_vect)"""
    )
    chip.drive(D, 2, 0)
    chip.edges([PinEvent(MS + 100 * i, D, 2, (i + 1) % 2) for i in range(5)])
    chip.run(2 * MS)
    assert chip.counters().merged_edges == 4


def test_edges_out_of_order_are_refused() -> None:
    chip = chip_with(COUNT_EDGES)
    with pytest.raises(ValueError, match="order"):
        chip.edges([PinEvent(2 * MS, D, 2, 1), PinEvent(MS, D, 2, 0)])


# The vector jumps (3 cycles) to a handler whose first instruction drives the pin.
FIRST_INSTRUCTION = """ISR(INT0_vect, ISR_NAKED) { asm volatile("sbi 5, 1\\n reti"); }
int main(void) { DDRB = _BV(1); EICRA = _BV(ISC00); EIMSK = _BV(INT0); sei(); """


def test_an_interrupt_out_of_sleep_costs_eight_cycles() -> None:
    chip = chip_with(FIRST_INSTRUCTION + "sleep_enable(); for (;;) sleep_cpu(); }")
    chip.edges([PinEvent(MS, D, 2, 1)])
    chip.run(2 * MS)
    assert [event.cycle for event in chip.changes()] == [MS + 4 + 4 + 3]
    assert chip.probe(Vector.INT0).max_latency == 8


def test_an_interrupt_of_a_busy_program_costs_four_cycles_and_the_instruction() -> None:
    chip = chip_with(FIRST_INSTRUCTION + "for (;;) ; }")
    chip.edges([PinEvent(MS, D, 2, 1)])
    chip.run(2 * MS)
    (event,) = chip.changes()
    assert 4 + 3 <= event.cycle - MS <= 4 + 3 + 2
    assert chip.probe(Vector.INT0).count == 1
    assert chip.probe(Vector.INT0).max_length == pytest.approx(3 + 2 + 4, abs=4)


def test_the_program_stops_in_sleep_at_the_very_cycle() -> None:
    chip = chip_with("int main(void) { sei(); sleep_enable(); for (;;) sleep_cpu(); }")
    for cycle in (MS, MS + 1, 77_777):
        assert chip.run(cycle) == Stop.TIME
        assert chip.cycle == cycle
    assert chip.counters().slept > 70_000


def test_a_watched_pin_hands_control_back_at_its_change() -> None:
    chip = chip_with(FIRST_INSTRUCTION + "sleep_enable(); for (;;) sleep_cpu(); }")
    chip.stop_on(B, 1 << 1)
    chip.edges([PinEvent(MS, D, 2, 1)])
    assert chip.run(2 * MS) == Stop.PIN
    assert MS + 11 <= chip.cycle <= MS + 15
    assert chip.run(2 * MS) == Stop.TIME


def test_every_way_to_drive_a_pin_is_logged() -> None:
    chip = chip_with(
        "int main(void) { PORTB = 2; DDRB = 2; PORTB = 0; PINB = 2; DDRB = 0; DDRB = 2;for (;;) ; }"
    )
    chip.run(MS)
    changes = [(e.port, e.bit, e.level) for e in chip.changes()]
    assert changes == [(B, 1, level) for level in (1, 0, 1, 0, 1)]


DRIVE_AND_HANG = """int main(void) { GPIOR0 = MCUSR; MCUSR = 0; wdt_enable(WDTO_15MS);
DDRB = _BV(1); PORTB = _BV(1); """


@pytest.mark.parametrize("hang", ["for (;;) ;", "sleep_enable(); cli(); for (;;) sleep_cpu();"])
def test_the_watchdog_resets_a_hung_program_and_drops_its_pins(hang: str) -> None:
    chip = chip_with(DRIVE_AND_HANG + hang + " }")
    chip.drive(D, 2, 1)
    chip.run(15 * MS)
    assert chip.peek(GPIOR0) == RESET_POWER
    assert [e.level for e in chip.changes()] == [1]
    chip.edges([PinEvent(20 * MS, D, 2, 0)])
    chip.run(18 * MS)
    assert chip.peek(GPIOR0) == RESET_WATCHDOG
    low, high = chip.changes()
    assert (low.level, high.level) == (0, 1)
    assert 16 * MS <= low.cycle <= 16.5 * MS, "2048 cycles of 128 kHz"
    assert chip.peek(0x29) & 4, "inputs keep their level over a reset"
    chip.run(21 * MS)
    assert not chip.peek(0x29) & 4, "edges queued before it still come"


def test_the_reset_pin_drops_the_pins_and_tells_its_cause() -> None:
    chip = chip_with(
        "int main(void) { GPIOR0 = MCUSR; MCUSR = 0; DDRB = 2; PORTB = 2; for (;;) ; }"
    )
    chip.run(MS)
    chip.reset_pin()
    assert [e.level for e in chip.changes()] == [1, 0]
    chip.run(2 * MS)
    assert chip.peek(GPIOR0) == RESET_PIN


def test_the_eeprom_outlives_reset_and_power_and_the_ram_does_not() -> None:
    chip = chip_with(
        """static uint8_t kept __attribute__((section(".noinit")));
        int main(void) { GPIOR1 = kept; kept = 0x5A; eeprom_update_byte((uint8_t *)3,
        eeprom_read_byte((uint8_t *)3) + 1);
        GPIOR0 = eeprom_read_byte((uint8_t *)3); for (;;) ; }"""
    )
    chip.run(10 * MS)
    assert chip.peek(GPIOR0) == 0, "an erased byte is 0xFF"
    chip.reset_pin()
    chip.run(20 * MS)
    assert (chip.peek(GPIOR0), chip.peek(GPIOR1)) == (1, 0x5A)
    chip.power_up(100 * MS)
    assert chip.cycle == 100 * MS
    chip.run(110 * MS)
    assert chip.peek(GPIOR0) == 2
    assert chip.peek(GPIOR1) != 0x5A
    assert chip.eeprom(3, 1) == b"\x02"


def test_an_analog_input_reads_its_share_of_five_volts() -> None:
    chip = chip_with(
        """int main(void) { ADMUX = _BV(REFS0) | 2; ADCSRA = _BV(ADEN) | _BV(ADSC) | 7;
        while (ADCSRA & _BV(ADSC)) ; GPIOR0 = ADCL; GPIOR1 = ADCH; for (;;) ; }"""
    )
    chip.analog(2, 2.5)
    chip.run(2 * MS)
    assert chip.peek(GPIOR0) | chip.peek(GPIOR1) << 8 == pytest.approx(512, abs=1)


def test_intel_hex_is_read_with_gaps_and_its_checksums_count() -> None:
    assert read_hex(":0200000001 02FB\n:0100040007F4\n:00000001FF".replace(" ", "")) == bytes(
        [1, 2, 0xFF, 0xFF, 7]
    )
    with pytest.raises(ValueError, match="damaged"):
        read_hex(":0200000001 03FB".replace(" ", ""))
    with pytest.raises(ValueError, match="end record"):
        read_hex(":020000000102FB")
