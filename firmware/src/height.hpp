// Carriage height: quadrature decoder on INT0 and INT1, sampled at 1 kHz into blocks.
#pragma once
#include "board.hpp"
#include "quadrature.hpp"

namespace height {
struct Block {
  uint32_t time;  // of the first sample
  int16_t samples[wire::HEIGHT_BLOCK];
};

extern Quadrature decoder;  // touch with interrupts off

void start();
int16_t position();
uint8_t illegal_edges();     // modulo 256
uint8_t missed_samples();    // modulo 256
uint8_t missed_blocks();     // modulo 256
void stream(bool on);
const Block *ready_block();  // null when none waits
void release_block();        // the one ready_block() gave
}  // namespace height
