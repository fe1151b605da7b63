// The analog-digital converter, in place of the library's, which looks at the voltage and the
// channel when the program reads the result, not when the conversion began; knows whole millivolts
// only; takes 1023 for the supply where the part takes 1024; starts at once instead of at the next
// edge of its own clock; and has no free running mode (data sheet, "Analog-to-Digital Converter").
#include <math.h>
#include <string.h>
#include <simavr/avr_adc.h>
#include <simavr/sim_cycle_timers.h>
#include "shim.h"

enum { ADCL = 0x78, ADCH = 0x79, ADCSRA = 0x7A, ADCSRB = 0x7B, ADMUX = 0x7C };
enum { ADEN = 0x80, ADSC = 0x40, ADATE = 0x20, ADIF = 0x10, ADIE = 0x08, ADPS = 0x07 };
enum { ADLAR = 0x20, MUX = 0x0F, ADTS = 0x07, STEPS = 1024 };

// Clocks from the start of a conversion to its sample and to its end; the first after enabling.
static const double SAMPLED[] = {1.5, 13.5};
static const int ENDED[] = {13, 25};

static uint64_t clock_cycles(const sim_t *s) {
  int shift = s->avr->data[ADCSRA] & ADPS;
  return 1u << (shift ? shift : 1);
}

// About normal, of deviation one: four uniform numbers out of one draw of xorshift64*.
static double noise(adc_t *p) {
  p->random ^= p->random >> 12;
  p->random ^= p->random << 25;
  p->random ^= p->random >> 27;
  uint64_t draw = p->random * 2685821657736338717u;
  double sum = 0;
  for (int i = 0; i < 4; ++i, draw >>= 16) sum += (draw & 0xFFFF) / 65536.0;
  return (sum - 2) * sqrt(3);
}

// Between two knots the voltage moves in a straight line; after the last one it stays.
static double level_at(analog_t *a, double cycle) {
  knot_t *knots = a->knots.items;
  while (a->at + 1 < a->knots.used && knots[a->at + 1].cycle <= cycle) a->at++;
  if (!a->knots.used) return a->level;
  knot_t *k = &knots[a->at];
  if (a->at + 1 == a->knots.used || cycle <= k->cycle) return k->level;
  return k[0].level + (k[1].level - k[0].level) * (cycle - k[0].cycle) / (k[1].cycle - k[0].cycle);
}

static uint16_t converted(sim_t *s) {
  adc_t *p = &s->adc;
  if (p->mux >= ANALOG_INPUTS) return 0;
  analog_t *a = &p->input[p->mux];
  double steps = floor(level_at(a, p->sampled) * STEPS + (a->noise ? a->noise * noise(p) : 0));
  return fmin(fmax(steps, 0), STEPS - 1);
}

static uint64_t begin(sim_t *s, uint64_t from) {
  adc_t *p = &s->adc;
  uint64_t clock = clock_cycles(s);
  p->mux = s->avr->data[ADMUX] & MUX;
  p->sampled = from + SAMPLED[p->first] * clock;
  p->end = from + ENDED[p->first] * clock;
  p->first = 0;
  return p->end;
}

static avr_cycle_count_t on_converted(avr_t *avr, avr_cycle_count_t when, void *param) {
  sim_t *s = param;
  uint8_t *d = avr->data;
  (void)when;
  uint16_t result = converted(s) << (d[ADMUX] & ADLAR ? 6 : 0);
  d[ADCL] = result;
  d[ADCH] = result >> 8;
  s->adc.conversions++;
  avr_raise_interrupt(avr, &s->adc.unit->adc);
  if (d[ADCSRA] & ADATE && !(d[ADCSRB] & ADTS)) return begin(s, s->adc.end);
  d[ADCSRA] &= ~ADSC;
  s->adc.end = 0;
  return 0;
}

static void stop(sim_t *s) {
  avr_cycle_timer_cancel(s->avr, on_converted, s);
  s->adc.end = 0;
}

static void on_control_write(avr_t *avr, avr_io_addr_t address, uint8_t value, void *param) {
  sim_t *s = param;
  adc_t *p = &s->adc;
  uint8_t before = avr->data[address], flag = before & ~value & ADIF;
  if (value & ADIF) avr_clear_interrupt(avr, &p->unit->adc);
  if (!(value & ADEN)) {
    stop(s);
    value &= ~ADSC;
  }
  if (value & ~before & ADEN) {
    p->clock_from = avr->cycle;
    p->first = 1;
  }
  avr->data[address] = (value & ~ADIF) | flag | (p->end ? ADSC : 0);
  if (flag && value & ~before & ADIE) avr_raise_interrupt(avr, &p->unit->adc);
  if (!(value & ADSC) || p->end) return;
  uint64_t clock = clock_cycles(s), edges = (avr->cycle - p->clock_from + clock - 1) / clock;
  avr_cycle_timer_register(avr, ahead(s, begin(s, p->clock_from + edges * clock)), on_converted, s);
}

// A share of the supply, and the noise of one conversion in steps of the converter.
void sim_analog(sim_t *s, int channel, double level, double noise_steps) {
  s->adc.input[channel].level = level;
  s->adc.input[channel].noise = noise_steps;
}

// The course of a voltage to come, in order of time.
void sim_analog_course(sim_t *s, int channel, const knot_t *knots, uint32_t count) {
  analog_t *a = &s->adc.input[channel];
  list_drop(&a->knots, a->at);
  a->at = 0;
  if (count) memcpy(list_add(&a->knots, count), knots, count * sizeof *knots);
}

void adc_init(sim_t *s) {
  avr_t *a = s->avr;
  for (avr_io_t *io = a->io_port; io; io = io->next)
    if (!strcmp(io->kind, "adc")) s->adc.unit = (avr_adc_t *)io;
  s->adc.random = 0x9E3779B97F4A7C15u;
  for (int i = 0; i < ANALOG_INPUTS; ++i) s->adc.input[i].knots.size = sizeof(knot_t);
  for (int r = ADCL; r <= ADMUX; ++r) {
    int io = AVR_DATA_TO_IO(r);
    a->io[io].r.c = NULL;
    a->io[io].w.c = r == ADCSRA ? on_control_write : NULL;
    a->io[io].r.param = a->io[io].w.param = s;
  }
}

void adc_after_reset(sim_t *s) { s->adc.end = s->adc.first = 0; }

// Voltages to come are those of another time.
void adc_forget(sim_t *s) {
  for (int i = 0; i < ANALOG_INPUTS; ++i) s->adc.input[i].knots.used = s->adc.input[i].at = 0;
}
