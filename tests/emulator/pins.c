// Pins: edges from outside at their cycle, and a log of what the chip drives.
//
// Mended here: a pull-up overwrites an input that is driven from outside, at boot and on any write
// to its port; a pin that is low before EICRA is set starts an endless level interrupt; a write to
// TIFRn clears all the timer's flags, and one to PCIFR none; a pin change interrupt enabled after
// its flag was set does not come; a reset tells no pin.
#include <string.h>
#include <simavr/avr_extint.h>
#include <simavr/avr_ioport.h>
#include <simavr/sim_cycle_timers.h>
#include "shim.h"

enum { PIN_B = 0x23, REGISTERS = 3, DDR = 1, PORT = 2 };  // PINx, DDRx, PORTx follow each other
enum { TIFR0 = 0x35, TIFR2 = 0x37, PCIFR = 0x3B, PCICR = 0x68 };
enum { INT0 = 1, ENCODER_BIT = 2, CONVERTER_CLOCK = 1 };

static void tell_held(sim_t *s, int port) {
  avr_ioport_external_t pull = {.name = 'B' + port, .mask = s->held[port], .value = s->level[port]};
  avr_ioctl(s->avr, AVR_IOCTL_IOPORT_SET_EXTERNAL('B' + port), &pull);
}

static void hold(sim_t *s, int port, int bit, int level) {
  uint8_t mask = 1 << bit;
  s->held[port] |= mask;
  s->level[port] = level ? s->level[port] | mask : s->level[port] & ~mask;
  tell_held(s, port);
}

// An encoder edge that comes while the one before still waits for its interrupt is merged with it.
static void count_merged(sim_t *s, int port, int bit, int level) {
  if (port != PORT_D || bit < ENCODER_BIT || bit > ENCODER_BIT + 1) return;
  int changed = level != ((s->level[port] >> bit) & 1);
  if (changed && s->encoder[bit - ENCODER_BIT]->pending) s->counters.merged_edges++;
}

void sim_drive(sim_t *s, int port, int bit, int level) {
  count_merged(s, port, bit, level);
  hold(s, port, bit, level);
  avr_raise_irq(s->pin[port][bit], level);
}

// Nothing outside drives the pin any more: its pull-up does, or nothing.
void sim_let_go(sim_t *s, int port, int bit) {
  s->held[port] &= ~(1 << bit);
  tell_held(s, port);
  avr_raise_irq(s->pin[port][bit], s->avr->data[PIN_B + REGISTERS * port + PORT] >> bit & 1);
}

static avr_cycle_count_t on_edge(avr_t *avr, avr_cycle_count_t when, void *param) {
  sim_t *s = param;
  pin_event_t *edges = s->edges.items;
  for (; s->edges_at < s->edges.used; s->edges_at++) {
    pin_event_t *e = &edges[s->edges_at];
    if (e->cycle > avr->cycle) return e->cycle > when ? e->cycle : when + 1;
    sim_drive(s, e->port, e->bit, e->level);
  }
  s->edges.used = s->edges_at = 0;
  return 0;
}

static void await_edge(sim_t *s) {
  pin_event_t *edges = s->edges.items;
  if (s->edges_at < s->edges.used)
    avr_cycle_timer_register(s->avr, ahead(s, edges[s->edges_at].cycle), on_edge, s);
}

// Edges in order of time, not before those already given. Returns 0, or -1 when they are not.
int sim_edges(sim_t *s, const pin_event_t *edges, uint32_t count) {
  list_drop(&s->edges, s->edges_at);
  s->edges_at = 0;
  pin_event_t *given = s->edges.items;
  uint64_t last = s->edges.used ? given[s->edges.used - 1].cycle : 0;
  for (uint32_t i = 0; i < count; ++i) {
    if (edges[i].cycle < last) return -1;
    last = edges[i].cycle;
  }
  if (count) memcpy(list_add(&s->edges, count), edges, count * sizeof *edges);
  await_edge(s);
  return 0;
}

static void note_driven(sim_t *s, int port) {
  uint8_t *registers = &s->avr->data[PIN_B + REGISTERS * port];
  uint8_t now = registers[DDR] & registers[PORT], changed = now ^ s->driven[port];
  s->driven[port] = now;
  if (port == PORT_C && (changed >> CONVERTER_CLOCK) & 1) {
    converter_clock(s, (now >> CONVERTER_CLOCK) & 1);
    changed &= ~(1 << CONVERTER_CLOCK);  // thousands a second; the converter keeps their figures
  }
  for (int bit = 0; bit < 8; ++bit)
    if ((changed >> bit) & 1)
      *(pin_event_t *)list_add(&s->changes, 1) = (pin_event_t){
          .cycle = s->avr->cycle, .port = port, .bit = bit, .level = (now >> bit) & 1};
  if (changed & s->stop_on[port]) {
    s->stop |= STOP_PIN;
    s->avr->run_cycle_count = 0;  // leave the core after this instruction
  }
}

static void on_port_write(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
  sim_t *s = param;
  int port = (address - PIN_B) / REGISTERS;
  struct wrapped *inner = &s->port_write[port][(address - PIN_B) % REGISTERS];
  inner->write(avr, address, value, inner->param);
  note_driven(s, port);
}

// A one clears its own flag and no other.
static void on_flags_write(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
  sim_t *s = param;
  for (int i = 0; i < avr->interrupts.vector_count; ++i) {
    avr_int_vector_t *v = avr->interrupts.vector[i];
    if (v->raised.reg != address || !((value >> v->raised.bit) & 1)) continue;
    avr_regbit_clear(avr, v->raised);
    avr_clear_interrupt(avr, v);
    s->pending_since[v->vector] = 0;
  }
}

// An interrupt enabled while its flag is set comes at once.
static void on_change_enable(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
  sim_t *s = param;
  uint8_t fresh = value & ~avr->data[address];
  avr->data[address] = value;
  for (int i = 0; i < avr->interrupts.vector_count; ++i) {
    avr_int_vector_t *v = avr->interrupts.vector[i];
    if (v->enable.reg != address || !((fresh >> v->enable.bit) & 1)) continue;
    s->pending_since[v->vector] = 0;  // what a disabled one waited is no delay
    if (avr_regbit_get(avr, v->raised)) avr_raise_interrupt(avr, v);
  }
}

static void wrap_port(sim_t *s, int port) {
  for (int r = 0; r < REGISTERS; ++r) {
    int io = AVR_DATA_TO_IO(PIN_B + REGISTERS * port + r);
    s->port_write[port][r] = (struct wrapped){s->avr->io[io].w.c, s->avr->io[io].w.param};
    s->avr->io[io].w.c = on_port_write;
    s->avr->io[io].w.param = s;
  }
}

static void on_write(sim_t *s, int address, avr_io_write_t write) {
  int io = AVR_DATA_TO_IO(address);
  s->avr->io[io].w.c = write;
  s->avr->io[io].w.param = s;
}

void pins_init(sim_t *s) {
  avr_t *a = s->avr;
  s->edges.size = s->changes.size = sizeof(pin_event_t);
  for (int port = 0; port < PORTS; ++port) {
    for (int bit = 0; bit < 8; ++bit)
      s->pin[port][bit] = avr_io_getirq(a, AVR_IOCTL_IOPORT_GETIRQ('B' + port), bit);
    wrap_port(s, port);
  }
  for (int r = TIFR0; r <= TIFR2; ++r) on_write(s, r, on_flags_write);
  on_write(s, PCIFR, on_flags_write);
  on_write(s, PCICR, on_change_enable);
  for (int i = 0; i < a->interrupts.vector_count; ++i) {
    avr_int_vector_t *v = a->interrupts.vector[i];
    if (v->vector == INT0 || v->vector == INT0 + 1) s->encoder[v->vector - INT0] = v;
  }
}

void pins_after_reset(sim_t *s) {
  avr_t *a = s->avr;
  avr_extint_set_strict_lvl_trig(a, 0, 0);
  avr_extint_set_strict_lvl_trig(a, 1, 0);
  for (int port = 0; port < PORTS; ++port) {
    a->data[PIN_B + REGISTERS * port] = s->level[port] & s->held[port];
    for (int bit = 0; bit < 8; ++bit)
      s->pin[port][bit]->value = (s->level[port] & s->held[port]) >> bit & 1;
    note_driven(s, port);
  }
  await_edge(s);
}

void sim_stop_on(sim_t *s, int port, uint8_t mask) { s->stop_on[port] = mask; }

uint32_t sim_changes(sim_t *s, pin_event_t *out, uint32_t room) {
  uint32_t count = s->changes.used < room ? s->changes.used : room;
  if (count) memcpy(out, s->changes.items, count * sizeof *out);
  list_drop(&s->changes, count);
  return count;
}
