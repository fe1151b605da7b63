// How long interrupts wait and how long they take.
#include <string.h>
#include "shim.h"

static int vector_of(const avr_irq_t *irq) { return (irq->irq >> 8) & 0x1F; }

static void on_pending(avr_irq_t *irq, uint32_t value, void *param) {
  sim_t *s = param;
  int v = vector_of(irq);
  if (value && !s->pending_since[v]) s->pending_since[v] = s->avr->cycle;
}

static void enter(sim_t *s, int v) {
  probe_t *p = &s->probe[v];
  s->avr->cycle += ENTRY_CYCLES;
  uint64_t waited = s->avr->cycle - s->pending_since[v];
  if (s->pending_since[v] && waited > p->max_latency) p->max_latency = waited;
  s->pending_since[v] = 0;
  s->running_since[v] = s->avr->cycle;
  p->count++;
}

static void leave(sim_t *s, int v) {
  probe_t *p = &s->probe[v];
  if (!s->running_since[v]) return;
  uint64_t length = s->avr->cycle - s->running_since[v];
  s->running_since[v] = 0;
  p->total_length += length;
  if (length > p->max_length) p->max_length = length;
}

static void on_running(avr_irq_t *irq, uint32_t value, void *param) {
  if (value) enter(param, vector_of(irq));
  else leave(param, vector_of(irq));
}

void probes_init(sim_t *s) {
  for (int v = 1; v < VECTORS; ++v) {
    avr_irq_t *irq = avr_get_interrupt_irq(s->avr, v);
    if (!irq) continue;
    avr_irq_register_notify(irq + AVR_INT_IRQ_PENDING, on_pending, s);
    avr_irq_register_notify(irq + AVR_INT_IRQ_RUNNING, on_running, s);
  }
}

void probes_after_reset(sim_t *s) {
  memset(s->pending_since, 0, sizeof s->pending_since);
  memset(s->running_since, 0, sizeof s->running_since);
}

void sim_probe(const sim_t *s, int vector, probe_t *out) { *out = s->probe[vector]; }
void sim_clear_probes(sim_t *s) { memset(s->probe, 0, sizeof s->probe); }
