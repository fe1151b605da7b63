// The carriage's end switches: sampled each millisecond, strokes judged there, told by the main loop.
#pragma once
#include "board.hpp"
#include "stroke_load.hpp"

namespace switches {
extern Strokes strokes;  // with interrupts off only

struct Told {
  JudgedStroke stroke;
  LoadSummary load;
};

struct Totals {
  uint32_t counted;
  uint16_t rejects[Strokes::KINDS];
  uint8_t switches;  // bit 0: near closed, bit 1: far closed
  uint16_t of(wire::Stroke verdict) const { return rejects[static_cast<uint8_t>(verdict)]; }
};

void start();
void sample_locked();       // at each beat of the 1 kHz sampler
void poll();                // once a millisecond
void conversion(uint32_t time, uint32_t code);  // of the load cell
bool set_band(uint16_t min_ms, uint16_t max_ms);
void default_band();
Totals totals();
const Told *waiting();      // to be sent; null when none is
void release();             // the one waiting() gave
uint8_t lost();             // strokes that found no room, modulo 256; the totals have them
}  // namespace switches
