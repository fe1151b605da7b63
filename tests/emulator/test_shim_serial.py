"""The USART of the C layer, as the data sheet has it: 10 bits a frame, UDRE0, TXC0, DOR0."""

import itertools

from tests.emulator.test_shim import GPIOR0, GPIOR1, GPIOR2, MS, chip_with

UART_ON = "UCSR0A = _BV(U2X0); UBRR0 = 7; UCSR0B = _BV(RXEN0) | _BV(TXEN0);"
ECHO = "ISR(USART_RX_vect) { PINB = _BV(1); UDR0 = UDR0; } int main(void) {"


def test_bytes_follow_each_other_by_ten_bit_times() -> None:
    chip = chip_with(
        f"int main(void) {{ {UART_ON} for (uint8_t i = 0; i < 20; ++i) {{"
        "while (!(UCSR0A & _BV(UDRE0))) ; UDR0 = i; } for (;;) ; }"
    )
    chip.run(2 * MS)
    data, ends = chip.sent()
    assert data == bytes(range(20))
    assert {b - a for a, b in itertools.pairwise(ends)} == {640}, "64 cycles a bit"
    assert chip.counters().illegal_baud == 0


def test_the_transmit_interrupt_keeps_the_line_full() -> None:
    chip = chip_with(
        f"""static volatile uint8_t n;
        ISR(USART_UDRE_vect) {{ UDR0 = n++; if (n == 50) UCSR0B &= ~_BV(UDRIE0); }}
        int main(void) {{ {UART_ON} UCSR0B |= _BV(UDRIE0); sei(); for (;;) ; }}"""
    )
    chip.run(3 * MS)
    data, ends = chip.sent()
    assert data == bytes(range(50))
    assert ends[-1] - ends[0] == 49 * 640


def test_the_transmitter_finished_flag_comes_after_the_last_byte() -> None:
    chip = chip_with(
        f"ISR(USART_TX_vect) {{ GPIOR0++; }} int main(void) {{ {UART_ON} UCSR0B |= _BV(TXCIE0);"
        "sei(); UDR0 = 1; UDR0 = 2; for (;;) ; }"
    )
    chip.run(1_000)
    assert chip.peek(GPIOR0) == 0
    chip.run(2_000)
    assert chip.peek(GPIOR0) == 1
    assert chip.sent()[0] == b"\x01\x02"


def test_received_bytes_arrive_ten_bit_times_apart() -> None:
    chip = chip_with(f"{ECHO} DDRB = _BV(1); {UART_ON} UCSR0B |= _BV(RXCIE0); sei(); for (;;) ; }}")
    chip.run(MS)
    chip.receive(bytes(range(8)))
    chip.run(2 * MS)
    times = [event.cycle for event in chip.changes()]
    assert len(times) == 8
    assert 640 <= times[0] - MS <= 700
    assert all(abs(b - a - 640) <= 4 for a, b in itertools.pairwise(times))
    assert chip.sent()[0] == bytes(range(8))


def test_a_receiver_nobody_reads_keeps_two_bytes_and_the_last() -> None:
    chip = chip_with(
        f"int main(void) {{ {UART_ON} while (!(GPIOR0 & 1)) ; GPIOR1 = UCSR0A;"
        "while (UCSR0A & _BV(RXC0)) { uint8_t b = UDR0;"
        "while (!(UCSR0A & _BV(UDRE0))) ; UDR0 = b; }"
        "GPIOR2 = UCSR0A; for (;;) ; }"
    )
    chip.run(MS)
    chip.receive(b"abcdef")
    chip.run(2 * MS)
    assert chip.counters().rx_overruns == 3
    chip.poke(GPIOR0, 1)
    chip.run(4 * MS)
    assert chip.peek(GPIOR1) & 0x08, "DOR0 tells"
    assert not chip.peek(GPIOR2) & 0x08, "and is gone once UDR0 is read"
    assert chip.sent()[0] == b"abf"


def test_a_wrong_baud_rate_is_noticed() -> None:
    chip = chip_with("int main(void) { UBRR0 = 8; UCSR0B = _BV(TXEN0); UDR0 = 1; for (;;) ; }")
    chip.run(MS)
    assert chip.counters().illegal_baud == 1


def test_a_byte_cut_by_a_reset_does_not_reach_the_host() -> None:
    chip = chip_with(f"int main(void) {{ {UART_ON} UDR0 = 7; for (;;) ; }}")
    chip.run(400)
    chip.reset_pin()
    chip.run(MS)
    data, ends = chip.sent()
    assert data == b"\x07"
    assert ends[0] > 400 + 640, "the one after the reset"


def test_bytes_on_their_way_at_a_reset_still_arrive() -> None:
    chip = chip_with(f"{ECHO} {UART_ON} UCSR0B |= _BV(RXCIE0); sei(); for (;;) ; }}")
    chip.run(MS)
    chip.receive(b"abcd")
    chip.run(MS + 700)
    chip.reset_pin()
    chip.run(2 * MS)
    assert chip.sent()[0] == b"bcd", "the echo of the first is cut"
