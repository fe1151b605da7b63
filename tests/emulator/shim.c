// The chip as a whole: making, running, resetting, and looking inside.
//
// Mended here: interrupts cost nothing to enter and sleep nothing to leave; a stop in sleep
// overshoots to the next event; a reset wipes every cycle timer; the watchdog resets by swapping
// `avr->run`, which a loop of one's own has to honour; short default runs halve the speed; sleeping
// with interrupts off ends the simulation, where the real part waits for its watchdog.
//
// Not mended: SBI on a flag register (TIFRn, EIFR, PCIFR) or on PINx writes all bits back, where
// the part touches one; and the input capture has no noise canceller (its four cycles of delay).
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <simavr/avr_eeprom.h>
#include <simavr/sim_core.h>
#include <simavr/sim_cycle_timers.h>
#include "shim.h"

enum { FREQUENCY = 16000000, SUPPLY_MV = 5000, RUN_LIMIT = 100000 };
enum { MCUSR = 0x54, PORF = 1, EXTRF = 2, SRAM = 0x100 };

void *list_add(list_t *list, size_t count) {
  if (list->used + count > list->room) {
    list->room = 2 * (list->used + count) + 64;
    list->items = realloc(list->items, list->room * list->size);
    if (!list->items) abort();
  }
  void *place = (char *)list->items + list->used * list->size;
  list->used += count;
  return place;
}

void list_drop(list_t *list, size_t count) {
  char *items = list->items;
  if (!count) return;
  list->used -= count;
  memmove(items, items + count * list->size, list->used * list->size);
}

static void silent(avr_t *avr, const int level, const char *format, va_list args) {
  (void)avr; (void)level; (void)format; (void)args;
}

static avr_cycle_count_t on_until(avr_t *avr, avr_cycle_count_t when, void *param) {
  sim_t *s = param;
  (void)avr; (void)when;
  s->stop |= STOP_TIME;
  return 0;
}

static void after_reset(sim_t *s) {
  avr_t *a = s->avr;
  a->run_cycle_limit = RUN_LIMIT;
  probes_after_reset(s);
  serial_after_reset(s);
  adc_after_reset(s);
  converter_after_reset(s);
  pins_after_reset(s);
  if (s->until) avr_cycle_timer_register(a, ahead(s, s->until), on_until, s);
}

static void reset(sim_t *s, void (*library_reset)(avr_t *)) {
  library_reset(s->avr);
  s->counters.resets++;
  after_reset(s);
}

static void watchdog_reset(avr_t *avr) { avr->run(avr); }

// Finalisers run in any order, and one may still talk to the chip after its own has run. So a chip
// nobody wants is kept until the next one is made.
static sim_t *retired;

static void release(sim_t *s) {
  list_t *lists[] = {&s->edges, &s->changes, &s->serial.input, &s->serial.output,
                     &s->serial.output_end, &s->converter.schedule};
  for (size_t i = 0; i < sizeof lists / sizeof *lists; ++i) free(lists[i]->items);
  for (int i = 0; i < ANALOG_INPUTS; ++i) free(s->adc.input[i].knots.items);
  avr_terminate(s->avr);
  free(s->avr);
  free(s);
}

static void release_retired(void) {
  while (retired) {
    sim_t *s = retired;
    retired = s->next_retired;
    release(s);
  }
}

void sim_retire(sim_t *s) {
  s->next_retired = retired;
  retired = s;
}

sim_t *sim_new(const uint8_t *code, uint32_t size, double host_byte_cycles) {
  release_retired();
  avr_global_logger_set(silent);
  avr_t *a = avr_make_mcu_by_name("atmega328p");
  sim_t *s = calloc(1, sizeof *s);
  if (!a || !s || avr_init(a)) return NULL;
  s->avr = a;
  a->frequency = FREQUENCY;
  a->vcc = a->avcc = a->aref = SUPPLY_MV;
  a->run = avr_callback_run_raw;
  avr_loadcode(a, (uint8_t *)code, size, 0);
  a->codeend = a->flashend;
  s->serial.host_byte_cycles = host_byte_cycles;
  pins_init(s);
  serial_init(s);
  adc_init(s);
  converter_init(s);
  probes_init(s);
  after_reset(s);
  a->data[MCUSR] = PORF;
  return s;
}

static void jump(sim_t *s, uint64_t cycle) {
  s->edges.used = s->edges_at = 0;
  serial_forget(s);
  adc_forget(s);
  converter_forget(s);
  s->avr->cycle = cycle;
}

void sim_reset_pin(sim_t *s) {
  uint8_t cause = s->avr->data[MCUSR] | EXTRF;
  reset(s, avr_reset);
  s->avr->data[MCUSR] = cause;
}

// The reset pin is low from now, when the pins drop, until `cycle`, when the program starts.
// What was to come is forgotten: it meets a board that does not listen.
void sim_hold_reset(sim_t *s, uint64_t cycle) {
  sim_reset_pin(s);
  jump(s, cycle);
  sim_reset_pin(s);
}

// Power up at `cycle`: what the RAM then holds is anybody's guess, so it is filled with noise.
void sim_power_up(sim_t *s, uint64_t cycle) {
  avr_t *a = s->avr;
  uint32_t noise = (uint32_t)cycle | 1;
  for (int i = SRAM; i <= a->ramend; ++i) {
    noise = noise * 1664525u + 1013904223u;
    a->data[i] = noise >> 24;
  }
  jump(s, cycle);
  reset(s, avr_reset);
  if (s->converter.attached) converter_power_up(s);
  a->data[MCUSR] = PORF;
}

static void step(sim_t *s) {
  avr_t *a = s->avr;
  if (a->run != avr_callback_run_raw) { reset(s, watchdog_reset); return; }
  int slept = a->state == cpu_Sleeping;
  avr_flashaddr_t pc = a->pc;
  if (a->state == cpu_Running) pc = avr_run_one(a);
  avr_cycle_count_t idle = avr_cycle_timer_process(a);
  a->pc = pc;
  if (a->state == cpu_Sleeping) {
    if (!s->stop && a->run == avr_callback_run_raw) {
      a->cycle += idle ? idle : 1;
      s->counters.slept += idle ? idle : 1;
    }
  } else if (slept) {
    a->cycle += WAKE_CYCLES;
  }
  if (a->interrupt_state) avr_service_interrupts(a);
  if (a->state == cpu_Done || a->state == cpu_Crashed) s->stop |= STOP_CRASH;
}

int sim_run(sim_t *s, uint64_t until) {
  avr_t *a = s->avr;
  s->stop = 0;
  s->until = until;
  if (until <= a->cycle) return STOP_TIME;
  avr_cycle_timer_register(a, until - a->cycle, on_until, s);
  while (!s->stop) step(s);
  avr_cycle_timer_cancel(a, on_until, s);
  return s->stop;
}

uint64_t sim_cycle(const sim_t *s) { return s->avr->cycle; }
uint32_t sim_pc(const sim_t *s) { return s->avr->pc; }
int sim_asleep(const sim_t *s) { return s->avr->state == cpu_Sleeping; }
void sim_counters(const sim_t *s, counters_t *out) { *out = s->counters; }
uint8_t sim_peek(const sim_t *s, uint16_t address) { return s->avr->data[address]; }

// As if the program had written it: peripherals take notice.
void sim_poke(sim_t *s, uint16_t address, uint8_t value) {
  avr_t *a = s->avr;
  int io = AVR_DATA_TO_IO(address);
  if (io >= 0 && io < MAX_IOs && a->io[io].w.c) a->io[io].w.c(a, address, value, a->io[io].w.param);
  else a->data[address] = value;
}

uint8_t sim_flash(const sim_t *s, uint32_t address) { return s->avr->flash[address]; }
void sim_set_flash(sim_t *s, uint32_t address, uint8_t value) { s->avr->flash[address] = value; }

void sim_eeprom(sim_t *s, uint16_t offset, uint8_t *out, uint32_t size) {
  avr_eeprom_desc_t d = {.ee = out, .offset = offset, .size = size};
  avr_ioctl(s->avr, AVR_IOCTL_EEPROM_GET, &d);
}

void sim_set_eeprom(sim_t *s, uint16_t offset, uint8_t *in, uint32_t size) {
  avr_eeprom_desc_t d = {.ee = in, .offset = offset, .size = size};
  avr_ioctl(s->avr, AVR_IOCTL_EEPROM_SET, &d);
}
