// A bridge converter at A0 (its data) and A1 (its clock), pin by pin.
//
// As its data sheet has it: the data line falls when a conversion is ready; each rising edge of the
// clock brings the next bit, the highest first; from the 25th on the line is high; 25, 26 or 27
// pulses choose channel and gain of what follows, and a change settles for four conversions; a
// clock high for 60 us powers it down, and it settles after that too. What the data sheet leaves
// open is taken as the harder case: a conversion that nobody read is replaced without an edge, and
// one that becomes ready while another is read begins anew in the midst of it.
#include <string.h>
#include <simavr/sim_cycle_timers.h>
#include "shim.h"

enum { DATA_BIT = 0, CLOCK_BIT = 1, BITS = 24, GAIN_128 = 25, CHANNEL_B = 26, GAIN_64 = 27 };
enum { POWER_DOWN_CYCLES = 60 * 16, SETTLING = 4 };

static int in_order(const converter_t *c) {
  return c->fault == CONVERTER_SOUND || c->fault == CONVERTER_CLOCK_HELD;
}

static void put(sim_t *s, int level) {
  converter_t *c = &s->converter;
  c->level = level;
  if (in_order(c) && c->line != level) {
    c->line = level;
    sim_drive(s, PORT_C, DATA_BIT, level);
  }
}

static avr_cycle_count_t on_power_down(avr_t *avr, avr_cycle_count_t when, void *param) {
  sim_t *s = param;
  (void)avr; (void)when;
  s->converter.down = 1;
  s->converter.figures.power_downs++;
  put(s, 1);
  return 0;
}

static void next_bit(sim_t *s) {
  converter_t *c = &s->converter;
  c->pulses++;
  put(s, c->pulses <= BITS ? c->word >> (BITS - c->pulses) & 1 : 1);
}

static void wake(converter_t *c) {
  c->down = c->pulses = 0;
  c->mode = GAIN_128;
  c->settling = SETTLING;
}

static void clock_to(sim_t *s, int level) {
  converter_t *c = &s->converter;
  if (level == c->clock) return;
  c->clock = level;
  if (level) {
    c->rose = s->avr->cycle;
    avr_cycle_timer_register(s->avr, POWER_DOWN_CYCLES, on_power_down, s);
    if (!c->down) next_bit(s);
    return;
  }
  uint64_t high = s->avr->cycle - c->rose;
  if (high > c->figures.longest_high) c->figures.longest_high = high;
  avr_cycle_timer_cancel(s->avr, on_power_down, s);
  if (!c->down) return;
  wake(c);
}

// What the chip drives has changed.
void converter_clock(sim_t *s, int level) {
  s->converter.chip_clock = level;
  if (s->converter.attached) clock_to(s, level || s->converter.fault == CONVERTER_CLOCK_HELD);
}

static void end_of_read(converter_t *c) {
  if (c->pulses > 0 && c->pulses < GAIN_128) c->figures.torn++;
  if (c->pulses > GAIN_128) c->figures.other_pulses++;
  if (c->pulses >= GAIN_128 && c->pulses <= GAIN_64 && c->pulses != c->mode) {
    c->mode = c->pulses;
    c->settling = SETTLING;
  }
  if (!c->pulses && !c->level) c->figures.unread++;
}

static void ready(sim_t *s, int32_t code) {
  converter_t *c = &s->converter;
  if (c->down) return;
  end_of_read(c);
  c->pulses = 0;
  if (c->settling) {
    c->settling--;
    put(s, 1);
    return;
  }
  c->figures.conversions++;
  int32_t seen = c->mode == CHANNEL_B ? 0 : c->mode == GAIN_64 ? code / 2 : code;
  c->word = (uint32_t)seen & 0xFFFFFF;
  put(s, 0);
}

static avr_cycle_count_t on_ready(avr_t *avr, avr_cycle_count_t when, void *param) {
  sim_t *s = param;
  converter_t *c = &s->converter;
  conversion_t *list = c->schedule.items;
  for (; c->at < c->schedule.used; c->at++) {
    conversion_t *next = &list[c->at];
    if (next->cycle > avr->cycle) return next->cycle > when ? next->cycle : when + 1;
    ready(s, next->code);
  }
  c->schedule.used = c->at = 0;
  return 0;
}

static void await_ready(sim_t *s) {
  converter_t *c = &s->converter;
  conversion_t *list = c->schedule.items;
  if (c->at < c->schedule.used)
    avr_cycle_timer_register(s->avr, ahead(s, list[c->at].cycle), on_ready, s);
}

// Conversions to come, in order of time. The first call fits the converter.
void sim_conversions(sim_t *s, const conversion_t *list, uint32_t count) {
  converter_t *c = &s->converter;
  if (!c->attached) {
    c->attached = 1;
    c->mode = GAIN_128;
    sim_converter_fault(s, CONVERTER_SOUND);
  }
  list_drop(&c->schedule, c->at);
  c->at = 0;
  if (count) memcpy(list_add(&c->schedule, count), list, count * sizeof *list);
  await_ready(s);
}

void sim_converter_fault(sim_t *s, int fault) {
  converter_t *c = &s->converter;
  c->fault = fault;
  c->line = fault == CONVERTER_STUCK_LOW ? 0 : c->level;
  if (fault == CONVERTER_ABSENT) sim_let_go(s, PORT_C, DATA_BIT);
  else sim_drive(s, PORT_C, DATA_BIT, c->line);
  converter_clock(s, c->chip_clock);
}

void sim_converter_figures(const sim_t *s, converter_figures_t *out) {
  *out = s->converter.figures;
}

void converter_init(sim_t *s) {
  s->converter.schedule.size = sizeof(conversion_t);
  s->converter.level = 1;
}

// The converter has its own power: of a reset it sees its clock fall.
void converter_after_reset(sim_t *s) {
  converter_t *c = &s->converter;
  if (c->attached && c->clock && !c->down) {
    uint64_t end = c->rose + POWER_DOWN_CYCLES;
    avr_cycle_timer_register(s->avr, ahead(s, end), on_power_down, s);
  }
  await_ready(s);
}

void converter_forget(sim_t *s) { s->converter.schedule.used = s->converter.at = 0; }

void converter_power_up(sim_t *s) {
  wake(&s->converter);
  put(s, 1);
}
