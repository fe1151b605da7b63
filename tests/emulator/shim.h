// An ATmega328P executed instruction by instruction on libsimavr, in virtual time only.
//
// libsimavr 1.6 departs from the real part in ways that would make firmware tests lie; each file
// says which departures it mends, and test_shim.py proves every mend with a tiny program.
// libsimavr is GPL-3: this layer is test source, built where the tests run and never shipped built.
#pragma once
#include <stddef.h>
#include <stdint.h>
#include <simavr/sim_avr.h>
#include <simavr/avr_adc.h>
#include <simavr/avr_uart.h>

enum { PORT_B, PORT_C, PORT_D, PORTS };
enum { STOP_TIME = 1, STOP_PIN = 2, STOP_CRASH = 4 };
enum { CONVERTER_SOUND, CONVERTER_ABSENT, CONVERTER_STUCK_LOW, CONVERTER_CLOCK_HELD };
enum { VECTORS = 26, ANALOG_INPUTS = 8, ENTRY_CYCLES = 4, WAKE_CYCLES = 4 };

// A level on a pin at a cycle: an input edge to come, or a change of a driven output.
typedef struct { uint64_t cycle; uint8_t port, bit, level, unused[5]; } pin_event_t;

typedef struct { void *items; size_t used, room, size; } list_t;

// Of one interrupt vector: from pending to its first instruction, and from there to its RETI.
typedef struct { uint64_t count, max_latency, max_length, total_length; } probe_t;

typedef struct {
  uint64_t illegal_baud, rx_overruns, rx_bytes, tx_bytes, merged_edges, resets, slept;
} counters_t;

typedef struct {
  uint8_t fifo[3], held;  // two buffered bytes and the one waiting in the shift register
  list_t input;           // uint8_t still to arrive
  size_t input_at;
  uint64_t arrival;       // of the byte on the wire, 0 when the line is idle
  double host_byte_cycles, arrival_exact;
  list_t output, output_end;  // uint8_t and its uint64_t cycle of completion
  uint64_t shift_end;         // 0 when the transmitter is idle
  uint8_t buffered, buffer;
} serial_t;

// A voltage at a cycle, as a share of the supply.
typedef struct { uint64_t cycle; double level; } knot_t;

typedef struct {
  double level, noise;  // noise of a conversion, in its steps
  list_t knots;         // knot_t; when there are any, they tell the level
  size_t at;
} analog_t;

typedef struct {
  avr_adc_t *unit;
  analog_t input[ANALOG_INPUTS];
  uint64_t clock_from, end;  // its own clock runs since; end of the conversion, 0 when idle
  double sampled;
  uint64_t random, conversions;
  uint8_t mux, first;
} adc_t;

typedef struct { uint64_t cycle; int32_t code, unused; } conversion_t;

typedef struct {
  uint64_t conversions, unread, torn, other_pulses, power_downs, longest_high;
} converter_figures_t;

typedef struct {
  list_t schedule;  // conversion_t
  size_t at;
  converter_figures_t figures;
  uint64_t rose;
  uint32_t word;
  int attached, fault, level, line, clock, chip_clock, down, pulses, mode, settling;
} converter_t;

typedef struct sim {
  struct sim *next_retired;
  avr_t *avr;
  avr_uart_t *uart;
  serial_t serial;
  adc_t adc;
  converter_t converter;
  counters_t counters;
  int stop;
  uint64_t until;
  // pins
  avr_irq_t *pin[PORTS][8];
  uint8_t held[PORTS], level[PORTS];  // pins something outside drives, and how
  uint8_t driven[PORTS];              // pins the chip drives high
  uint8_t stop_on[PORTS];
  avr_int_vector_t *encoder[2];
  list_t edges, changes;              // pin_event_t
  size_t edges_at;
  struct wrapped { avr_io_write_t write; void *param; } port_write[PORTS][3];
  // probes
  probe_t probe[VECTORS];
  uint64_t pending_since[VECTORS], running_since[VECTORS];
} sim_t;

void *list_add(list_t *list, size_t count);
void list_drop(list_t *list, size_t count);

void sim_drive(sim_t *s, int port, int bit, int level);
void sim_let_go(sim_t *s, int port, int bit);
void sim_converter_fault(sim_t *s, int fault);

void pins_init(sim_t *s);
void pins_after_reset(sim_t *s);
void serial_init(sim_t *s);
void serial_after_reset(sim_t *s);
void serial_forget(sim_t *s);
void adc_init(sim_t *s);
void adc_after_reset(sim_t *s);
void adc_forget(sim_t *s);
void converter_init(sim_t *s);
void converter_after_reset(sim_t *s);
void converter_forget(sim_t *s);
void converter_power_up(sim_t *s);
void converter_clock(sim_t *s, int level);
void probes_init(sim_t *s);
void probes_after_reset(sim_t *s);

// Cycles from now to `cycle`, at least one: what the library wants for a timer.
static inline avr_cycle_count_t ahead(const sim_t *s, uint64_t cycle) {
  return cycle > s->avr->cycle ? cycle - s->avr->cycle : 1;
}
