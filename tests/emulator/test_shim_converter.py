"""The bridge converter and the analog converter of the C layer, against their data sheets.

Bridge converter: tests/published/adc24_timing.json and adc24_codes.json (data sheet, page 5 and
figure 2). Analog converter: ATmega328P data sheet, "Analog-to-Digital Converter": 13 clocks a
conversion and 25 the first, the sample 1.5 clocks after the start, ADC = Vin * 1024 / Vref, and in
free running mode a channel written during a conversion holds for the next but not for this one.
"""

import itertools

import numpy as np
import pytest

from tests.emulator.chip import Chip, ConverterFault, PinEvent, Vector
from tests.emulator.test_shim import GPIOR0, GPIOR1, GPIOR2, MS, C, chip_with
from tests.published import load

CODES = load("adc24_codes")
TIMING = load("adc24_timing")
POWER_DOWN_US = TIMING["expected"]["power_down_after_high_us"]
GAIN_128, CHANNEL_B, GAIN_64 = (
    int(next(n for n, what in TIMING["expected"]["pulses"].items() if what == wanted))
    for wanted in ("channel A gain 128", "channel B gain 32", "channel A gain 64")
)
SETTLING = 4

# Waits for data-ready, clocks `pulses` bits out and sends the first three bytes by the serial line.
READER = """
static void say(uint8_t b) { while (!(UCSR0A & _BV(UDRE0))) ; UDR0 = b; }
static uint8_t pulse(void) { PORTC |= 2; asm volatile("nop\\n nop\\n nop"); uint8_t b = PINC & 1;
  PORTC &= ~2; return b; }
static uint8_t byte(void) { uint8_t v = 0; for (uint8_t i = 0; i < 8; ++i) v = v << 1 | pulse();
  return v; }
int main(void) { DDRC = 2; UCSR0A = _BV(U2X0); UBRR0 = 7; UCSR0B = _BV(TXEN0);
for (;;) { while (PINC & 1) ; GPIOR0++;
"""
READ_ALL = "say(byte()); say(byte()); say(byte()); for (uint8_t i = 24; i < %d; ++i) pulse(); "
END = "} }"


def reader(pulses: int = GAIN_128, after: str = "") -> Chip:
    """A chip that reads conversion after conversion."""
    return chip_with(READER + READ_ALL % pulses + after + END)


def heard(chip: Chip) -> list[int]:
    """Codes the chip read, by their two's complement."""
    data, _ = chip.sent()
    words = [data[i : i + 3] for i in range(0, len(data), 3)]
    return [int.from_bytes(word, "big", signed=True) for word in words]


def test_published_codes_come_out_bit_by_bit_the_highest_first() -> None:
    chip = reader()
    codes = CODES["expected"]["values"]
    chip.conversions((MS * (i + 1), code) for i, code in enumerate(codes))
    chip.run(MS * (len(codes) + 1))
    assert heard(chip) == codes
    figures = chip.converter_figures()
    assert figures.conversions == len(codes)
    assert (figures.unread, figures.torn, figures.other_pulses) == (0, 0, 0)


def test_the_bytes_are_those_published() -> None:
    chip = reader()
    chip.conversions((MS * (i + 1), code) for i, code in enumerate(CODES["expected"]["values"]))
    chip.run(MS * 20)
    data, _ = chip.sent()
    published = CODES["inputs"]["bytes_msb_first"]
    assert [list(data[i : i + 3]) for i in range(0, len(data), 3)] == published


def test_the_data_line_falls_at_ready_and_rises_at_the_25th_pulse() -> None:
    chip = chip_with(
        READER + "for (uint8_t i = 0; i < 24; ++i) pulse(); GPIOR1 = PINC; pulse();"
        "GPIOR2 = PINC; for (;;) ; " + END
    )
    chip.conversions([(MS, 0)])
    chip.run(MS - 1)
    assert chip.peek(GPIOR0) == 0
    chip.run(2 * MS)
    assert chip.peek(GPIOR0) == 1
    assert (chip.peek(GPIOR1) & 1, chip.peek(GPIOR2) & 1) == (0, 1)


def test_a_conversion_nobody_read_is_replaced_without_an_edge() -> None:
    chip = chip_with(
        """ISR(PCINT1_vect) { GPIOR0++; }
        int main(void) { DDRC = 2; PCMSK1 = 1; PCICR = 2; sei(); for (;;) ; }"""
    )
    chip.conversions([(MS, 1), (2 * MS, 2), (3 * MS, 3)])
    chip.run(4 * MS)
    assert chip.peek(GPIOR0) == 1
    assert chip.converter_figures().unread == 2


@pytest.mark.parametrize(("pulses", "seen"), [(GAIN_128, 1_000), (CHANNEL_B, 0), (GAIN_64, 500)])
def test_the_number_of_pulses_chooses_channel_and_gain_and_a_change_settles(
    pulses: int, seen: int
) -> None:
    chip = reader(pulses)
    chip.conversions((MS * (i + 1), 1_000) for i in range(12))
    chip.run(14 * MS)
    codes = heard(chip)
    settling = 0 if pulses == GAIN_128 else SETTLING
    assert codes == [1_000] + [seen] * (11 - settling)
    assert (chip.converter_figures().other_pulses > 0) == (pulses != GAIN_128)


def _held_high(us: int) -> Chip:
    """Reads; holds the clock high for a while in the last pulse of the second reading."""
    last = f"if (GPIOR0 == 2) {{ PORTC |= 2; _delay_us({us}); PORTC &= ~2; }} else pulse();"
    delay = "#define F_CPU 16000000UL\n#include <util/delay.h>\n"
    chip = chip_with(delay + READER + READ_ALL % (GAIN_128 - 1) + last + END)
    chip.conversions((MS * (i + 1), i) for i in range(12))
    chip.run(14 * MS)
    return chip


def test_a_clock_high_for_sixty_microseconds_powers_down_and_settles() -> None:
    chip = _held_high(POWER_DOWN_US + 1)
    assert chip.converter_figures().power_downs == 1
    assert heard(chip) == [0, 1, *range(2 + SETTLING, 12)]
    assert chip.converter_figures().longest_high / 16 == pytest.approx(POWER_DOWN_US + 1, abs=1)


def test_a_clock_high_for_the_longest_allowed_does_not() -> None:
    longest = TIMING["expected"]["T3_high_us"]["max"]
    chip = _held_high(longest)
    assert chip.converter_figures().power_downs == 0
    assert heard(chip) == list(range(12))
    assert chip.converter_figures().longest_high / 16 == pytest.approx(longest, abs=1)


def test_a_conversion_that_comes_in_the_midst_of_a_reading_tears_it() -> None:
    chip = reader()
    chip.conversions([(MS, 0), (MS + 200, -1)])
    chip.run(3 * MS)
    assert chip.converter_figures().torn == 1
    assert 0 not in heard(chip)


def test_an_absent_converter_leaves_the_line_to_the_pull_up() -> None:
    for pull_up in (0, 1):
        chip = chip_with(
            f"int main(void) {{ PORTC = {pull_up}; DDRC = 2; for (;;) GPIOR0 = PINC; }}"
        )
        chip.conversions([(MS, 0)])
        chip.run(2 * MS)
        assert chip.peek(GPIOR0) & 1 == 0
        chip.converter_fault(ConverterFault.ABSENT)
        chip.run(3 * MS)
        assert chip.peek(GPIOR0) & 1 == pull_up
        chip.converter_fault(ConverterFault.NONE)
        chip.run(4 * MS)
        assert chip.peek(GPIOR0) & 1 == 0, "it is there again, its conversion waiting"


def test_a_line_stuck_low_stays_low_whatever_is_clocked() -> None:
    chip = reader(after="GPIOR1 = PINC;")
    chip.conversions([(MS, -1)])
    chip.converter_fault(ConverterFault.STUCK_LOW)
    chip.run(3 * MS)
    assert chip.peek(GPIOR0) > 5
    assert not chip.peek(GPIOR1) & 1
    assert set(heard(chip)) == {0}


def test_a_held_clock_powers_the_converter_down_until_it_is_let_go() -> None:
    chip = reader()
    chip.conversions((MS * (i + 1), i) for i in range(12))
    chip.run(2 * MS + MS // 2)
    chip.converter_fault(ConverterFault.CLOCK_HELD)
    chip.run(4 * MS + MS // 2)
    assert heard(chip) == [0, 1]
    chip.converter_fault(ConverterFault.NONE)
    chip.run(14 * MS)
    assert heard(chip) == list(range(4 + SETTLING, 12))


def test_the_converter_settles_after_the_power_came_back() -> None:
    chip = reader()
    chip.conversions([(MS, 0)])
    chip.run(2 * MS)
    chip.power_up(10 * MS)
    chip.conversions((MS * (i + 11), i) for i in range(8))
    chip.run(20 * MS)
    assert heard(chip) == [0, *range(SETTLING, 8)]


# -- pin change interrupts


def test_a_pin_change_flag_is_cleared_by_writing_a_one_to_it() -> None:
    chip = chip_with(
        """ISR(PCINT1_vect) { GPIOR0++; }
        int main(void) { PCMSK1 = 1; while (!(PCIFR & 2)) ; PCIFR = 5; GPIOR1 = PCIFR;
        PCIFR = 2; GPIOR2 = PCIFR | 0x80; PCICR = 2; sei(); for (;;) ; }"""
    )
    chip.edges([PinEvent(MS, C, 0, 1)])
    chip.run(2 * MS)
    assert (chip.peek(GPIOR1), chip.peek(GPIOR2)) == (2, 0x80)
    assert chip.peek(GPIOR0) == 0


def test_a_pin_change_interrupt_enabled_after_its_flag_was_set_comes_at_once() -> None:
    chip = chip_with(
        """ISR(PCINT1_vect) { GPIOR0++; }
        int main(void) { PCMSK1 = 1; sei(); while (!(PCIFR & 2)) ; for (volatile int i = 0;
        i < 99; ++i) ; GPIOR1 = GPIOR0; PCICR = 2; for (;;) ; }"""
    )
    chip.edges([PinEvent(MS, C, 0, 1)])
    chip.run(2 * MS)
    assert (chip.peek(GPIOR1), chip.peek(GPIOR0)) == (0, 1)
    assert chip.probe(Vector.PCINT1).max_latency < 20, "counted from when it could come"


# -- analog-digital converter

ADC_ON = "ADCSRA = _BV(ADEN) | 7;"
ADC_END = "while (ADCSRA & _BV(ADSC)) ; "
SEND = """static void say(uint16_t v) { while (!(UCSR0A & _BV(UDRE0))) ; UDR0 = v;
while (!(UCSR0A & _BV(UDRE0))) ; UDR0 = v >> 8; }
"""
UART = "UCSR0A = _BV(U2X0); UBRR0 = 7; UCSR0B = _BV(TXEN0); "


def words(chip: Chip) -> list[int]:
    data, _ = chip.sent()
    return [data[i] | data[i + 1] << 8 for i in range(0, len(data) - 1, 2)]


def test_a_conversion_takes_13_clocks_and_the_first_25() -> None:
    chip = chip_with(
        f"""int main(void) {{ DDRB = 2; ADMUX = _BV(REFS0); {ADC_ON}
        for (;;) {{ ADCSRA |= _BV(ADSC); {ADC_END} PORTB ^= 2; }} }}"""
    )
    chip.run(2 * MS)
    times = [event.cycle for event in chip.changes()]
    assert times[0] == pytest.approx(25 * 128, abs=160)
    steps = {b - a for a, b in itertools.pairwise(times)}
    assert all(abs(step - 14 * 128) <= 8 for step in steps), "begun at the next edge of its clock"


def test_free_running_conversions_follow_each_other_by_13_clocks() -> None:
    chip = chip_with(
        """ISR(ADC_vect) { PORTB ^= 2; if (++GPIOR0 == 5) ADCSRA = _BV(ADEN) | _BV(ADIE) | 7; }
        int main(void) { DDRB = 2; ADMUX = _BV(REFS0); sei();
        ADCSRA = _BV(ADEN) | _BV(ADSC) | _BV(ADATE) | _BV(ADIE) | 7; for (;;) ; }"""
    )
    chip.run(4 * MS)
    times = [event.cycle for event in chip.changes()]
    assert len(times) == 6, "the one under way when it was told to end still comes"
    assert all(abs(b - a - 13 * 128) <= 8 for a, b in itertools.pairwise(times))


def test_a_channel_written_during_a_conversion_is_that_of_the_next() -> None:
    chip = chip_with(
        f"""{SEND} ISR(ADC_vect) {{ uint16_t v = ADC; ADMUX = _BV(REFS0) | (GPIOR0 & 1);
        if (++GPIOR0 == 6) ADCSRA = _BV(ADEN); else say(v); }}
        int main(void) {{ {UART} ADMUX = _BV(REFS0); sei();
        ADCSRA = _BV(ADEN) | _BV(ADSC) | _BV(ADATE) | _BV(ADIE) | 7; for (;;) ; }}"""
    )
    chip.analog(0, 1.0)
    chip.analog(1, 4.0)
    chip.run(3 * MS)
    low, high = int(1.0 * 1024 / 5), int(4.0 * 1024 / 5)
    assert words(chip) == [low, low, low, high, low], "each written one conversion ahead"


def test_the_sample_is_taken_a_clock_and_a_half_after_the_start() -> None:
    chip = chip_with(
        f"""{SEND} int main(void) {{ {UART} DDRB = 2; ADMUX = _BV(REFS0); {ADC_ON}
        ADCSRA |= _BV(ADSC); {ADC_END} PORTB = 2; ADCSRA |= _BV(ADSC); {ADC_END}
        say(ADC); for (;;) ; }}"""
    )
    chip.analog_course(0, np.array([0, 10_000], dtype=np.uint64), np.array([0.0, 1.0]))
    chip.run(MS)
    (code,), (start,) = words(chip), chip.changes()
    sampled = code / 1024 * 10_000
    assert 1.5 * 128 - 10 <= sampled - start.cycle <= 2.5 * 128, "from the next edge of its clock"


def test_the_supply_reads_1023_and_half_of_it_512() -> None:
    chip = chip_with(
        f"""{SEND} int main(void) {{ {UART} {ADC_ON} for (uint8_t i = 0; i < 4; ++i) {{
        ADMUX = _BV(REFS0) | i; ADCSRA |= _BV(ADSC); {ADC_END} say(ADC); }} for (;;) ; }}"""
    )
    for channel, volts in enumerate((5.0, 2.5, 0.0, 4.9 / 1024)):
        chip.analog(channel, volts)
    chip.run(2 * MS)
    assert words(chip) == [1023, 512, 0, 0]


def test_the_noise_of_a_conversion_has_the_width_asked_for() -> None:
    chip = chip_with(
        f"""{SEND} int main(void) {{ {UART} ADMUX = _BV(REFS0); {ADC_ON} for (;;) {{
        ADCSRA |= _BV(ADSC); {ADC_END} say(ADC); }} }}"""
    )
    chip.analog(0, 2.5, noise_steps=5.0)
    chip.run(500 * MS)
    codes = np.array(words(chip))
    assert len(codes) > 3_000
    assert codes.std() == pytest.approx(5.0, rel=0.05)
    assert codes.mean() == pytest.approx(511.5, abs=0.3), "rounded down"
