// UART with a ring each way. Interrupts fill and empty the rings; the main loop does the rest.
#pragma once
#include "board.hpp"

namespace serial {
constexpr uint16_t TX_SIZE = 256;  // indices wrap by themselves
constexpr uint8_t RX_SIZE = 128;   // 5 ms of a busy line

void start();
bool available();
uint8_t receive();       // only when available()
uint8_t room();          // bytes the transmit ring can take
uint8_t rx_dropped();    // bytes lost on the way in, modulo 256

// Bytes put become visible to the interrupt at commit(), so a message goes out whole.
// The caller has made sure of the room.
struct Transmit {
  void put(uint8_t byte);
  void commit();
};
}  // namespace serial
