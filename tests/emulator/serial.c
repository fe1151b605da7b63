// The USART, in place of the library's: 10 bit times a byte instead of 11, a transmit buffer behind
// the shift register, and the real receiver's room (two bytes and the shift register; data sheet,
// "USART Receiver" and the DOR0 bit) instead of 64, so that overruns show.
#include <math.h>
#include <string.h>
#include <simavr/sim_cycle_timers.h>
#include "shim.h"

enum { UCSR0A = 0xC0, UCSR0B = 0xC1, UBRR0L = 0xC4, UBRR0H = 0xC5, UDR0 = 0xC6 };
enum { RXC = 0x80, TXC = 0x40, UDRE = 0x20, DOR = 0x08, U2X = 0x02, MPCM = 0x01 };
enum { RXCIE = 0x80, TXCIE = 0x40, UDRIE = 0x20, RXEN = 0x10, TXEN = 0x08 };
enum { BITS = 10, BUFFERED = 2 };

static uint64_t byte_cycles(const sim_t *s) {
  const uint8_t *d = s->avr->data;
  uint32_t divider = (d[UBRR0L] | (d[UBRR0H] & 0x0F) << 8) + 1;
  return BITS * divider * (d[UCSR0A] & U2X ? 8 : 16);
}

// Two ends more than 4 % apart do not understand each other.
static void check_baud(sim_t *s) {
  double ours = (double)byte_cycles(s), theirs = s->serial.host_byte_cycles;
  if (fabs(ours / theirs - 1) > 0.04) s->counters.illegal_baud++;
}

static void lower(sim_t *s, avr_int_vector_t *vector, uint8_t flag) {
  s->avr->data[UCSR0A] &= ~flag;
  avr_clear_interrupt(s->avr, vector);
}

static avr_cycle_count_t on_sent(avr_t *avr, avr_cycle_count_t when, void *param);

static uint64_t start_shifting(sim_t *s, uint8_t byte, uint64_t from) {
  serial_t *p = &s->serial;
  check_baud(s);
  p->shift_end = from + byte_cycles(s);
  *(uint8_t *)list_add(&p->output, 1) = byte;
  *(uint64_t *)list_add(&p->output_end, 1) = p->shift_end;
  s->counters.tx_bytes++;
  avr_raise_interrupt(s->avr, &s->uart->udrc);
  return p->shift_end;
}

static avr_cycle_count_t on_sent(avr_t *avr, avr_cycle_count_t when, void *param) {
  sim_t *s = param;
  s->serial.shift_end = 0;
  if (s->serial.buffered) {
    s->serial.buffered = 0;
    return start_shifting(s, s->serial.buffer, when);
  }
  avr_raise_interrupt(avr, &s->uart->txc);
  return 0;
}

static void on_udr_write(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
  sim_t *s = param;
  serial_t *p = &s->serial;
  (void)address;
  if (!(avr->data[UCSR0B] & TXEN) || p->buffered) return;
  lower(s, &s->uart->udrc, UDRE);
  if (p->shift_end) {
    p->buffer = value;
    p->buffered = 1;
  } else {
    start_shifting(s, value, avr->cycle);
    avr_cycle_timer_register(avr, byte_cycles(s), on_sent, s);
  }
}

static uint8_t on_udr_read(avr_t *avr, avr_io_addr_t address, void *param) {
  sim_t *s = param;
  serial_t *p = &s->serial;
  (void)address;
  avr->data[UCSR0A] &= ~DOR;
  if (!p->held) return avr->data[UDR0];
  uint8_t byte = p->fifo[0];
  memmove(p->fifo, p->fifo + 1, --p->held);
  lower(s, &s->uart->rxc, RXC);
  if (p->held) avr_raise_interrupt(avr, &s->uart->rxc);
  return byte;
}

static void on_status_write(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
  sim_t *s = param;
  if (value & TXC) lower(s, &s->uart->txc, TXC);
  avr->data[address] = (avr->data[address] & ~(U2X | MPCM)) | (value & (U2X | MPCM));
}

static void on_control_write(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
  sim_t *s = param;
  uint8_t risen = value & ~avr->data[address], status = avr->data[UCSR0A];
  avr->data[address] = value;
  if (risen & UDRIE && status & UDRE) avr_raise_interrupt(avr, &s->uart->udrc);
  if (risen & TXCIE && status & TXC) avr_raise_interrupt(avr, &s->uart->txc);
  if (risen & RXCIE && status & RXC) avr_raise_interrupt(avr, &s->uart->rxc);
  if (!(value & RXEN)) {
    s->serial.held = 0;
    lower(s, &s->uart->rxc, RXC);
  }
}

// A start bit that meets a full receiver costs the byte in the shift register.
static void on_start_bit(sim_t *s) {
  if (s->serial.held <= BUFFERED) return;
  s->serial.held--;
  s->counters.rx_overruns++;
  s->avr->data[UCSR0A] |= DOR;
}

static void await_byte(sim_t *s, double from) {
  s->serial.arrival_exact = from + s->serial.host_byte_cycles;
  s->serial.arrival = (uint64_t)s->serial.arrival_exact;
  on_start_bit(s);
}

static avr_cycle_count_t on_arrival(avr_t *avr, avr_cycle_count_t when, void *param) {
  sim_t *s = param;
  serial_t *p = &s->serial;
  (void)when;
  uint8_t byte = ((uint8_t *)p->input.items)[p->input_at++];
  s->counters.rx_bytes++;
  p->arrival = 0;
  if (avr->data[UCSR0B] & RXEN) {
    check_baud(s);
    p->fifo[p->held++] = byte;
    avr_raise_interrupt(avr, &s->uart->rxc);
  }
  if (p->input_at < p->input.used) {
    await_byte(s, p->arrival_exact);
    return p->arrival;
  }
  p->input.used = p->input_at = 0;
  return 0;
}

// Bytes that the host starts to send now; they follow those still on their way.
void sim_receive(sim_t *s, const uint8_t *bytes, uint32_t count) {
  serial_t *p = &s->serial;
  if (!count) return;
  list_drop(&p->input, p->input_at);
  p->input_at = 0;
  memcpy(list_add(&p->input, count), bytes, count);
  if (p->arrival) return;
  await_byte(s, (double)s->avr->cycle);
  avr_cycle_timer_register(s->avr, ahead(s, p->arrival), on_arrival, s);
}

// Bytes whose stop bit has left the chip, with the cycle at which it did.
uint32_t sim_sent(sim_t *s, uint8_t *bytes, uint64_t *cycles, uint32_t room) {
  serial_t *p = &s->serial;
  uint64_t *end = p->output_end.items;
  uint32_t count = 0;
  while (count < p->output.used && count < room && end[count] <= s->avr->cycle) count++;
  if (!count) return 0;
  memcpy(bytes, p->output.items, count);
  memcpy(cycles, end, count * sizeof *cycles);
  list_drop(&p->output, count);
  list_drop(&p->output_end, count);
  return count;
}

void serial_init(sim_t *s) {
  avr_t *a = s->avr;
  for (avr_io_t *io = a->io_port; io; io = io->next)
    if (!strcmp(io->kind, "uart")) s->uart = (avr_uart_t *)io;
  s->serial.input.size = s->serial.output.size = 1;
  s->serial.output_end.size = sizeof(uint64_t);
  for (int r = UCSR0A; r <= UDR0; ++r) {
    int io = AVR_DATA_TO_IO(r);
    a->io[io].r.c = r == UDR0 ? on_udr_read : NULL;
    a->io[io].w.c = r == UDR0     ? on_udr_write
                    : r == UCSR0A ? on_status_write
                    : r == UCSR0B ? on_control_write
                                  : NULL;
    a->io[io].r.param = a->io[io].w.param = s;
  }
}

// A byte the reset cuts short never reaches the host whole.
void serial_after_reset(sim_t *s) {
  serial_t *p = &s->serial;
  uint64_t *end = p->output_end.items;
  while (p->output.used && end[p->output.used - 1] > s->avr->cycle)
    p->output.used--, p->output_end.used--;
  p->held = p->buffered = 0;
  p->shift_end = 0;
  s->avr->data[UCSR0A] = UDRE;
  if (p->arrival) avr_cycle_timer_register(s->avr, ahead(s, p->arrival), on_arrival, s);
}

void serial_forget(sim_t *s) {
  s->serial.input.used = s->serial.input_at = 0;
  s->serial.arrival = 0;
}
