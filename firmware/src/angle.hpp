// Arm angle: A2 converted 8 times a millisecond, summed by 64, in blocks. Owns the converter, and
// lends it to one conversion of a free pin a millisecond.
#pragma once
#include "board.hpp"

namespace angle {
struct Block {
  uint32_t time;  // start of the first conversion of the first sum
  uint16_t sums[wire::ANGLE_BLOCK];
};

void start();
void sample_locked();        // at each beat of the 1 kHz sampler
void stream(bool on);
const Block *ready_block();  // null when none waits
void release_block();        // the one ready_block() gave
uint8_t missed_samples();    // modulo 256
uint8_t missed_blocks();     // modulo 256

// One conversion of another channel, by and by. Ask again only when it is answered.
void ask(uint8_t channel);
bool answered();
uint16_t answer();
}  // namespace angle
