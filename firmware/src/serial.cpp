#include "serial.hpp"

namespace serial {
namespace {
// 250,000 baud: at 16 MHz with U2X the divider 7 gives it exactly. 115,200 would really be
// 117,647 (+2.1 %), which together with a bridge's own error is too near the limit for 8N1.
constexpr uint16_t DIVIDER = F_CPU / 8 / wire::BAUD - 1;
static_assert((DIVIDER + 1) * 8UL * wire::BAUD == F_CPU, "the baud rate is exact");

uint8_t tx_ring[TX_SIZE];
volatile uint8_t tx_head;  // written by commit()
volatile uint8_t tx_tail;  // written by the interrupt
uint8_t tx_next;           // main loop only: end of what has been put

volatile uint8_t rx_ring[RX_SIZE];
volatile uint8_t rx_head;  // written by the interrupt
volatile uint8_t rx_tail;  // written by receive()
volatile uint8_t dropped;

uint8_t after(uint8_t at) { return (at + 1) & (RX_SIZE - 1); }
static_assert((RX_SIZE & (RX_SIZE - 1)) == 0, "a power of two");
}  // namespace

void start() {
  UBRR0 = DIVIDER;
  UCSR0A = _BV(U2X0);
  UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
  UCSR0B = _BV(RXEN0) | _BV(TXEN0) | _BV(RXCIE0);
}

bool available() { return rx_tail != rx_head; }

uint8_t receive() {
  const uint8_t byte = rx_ring[rx_tail];
  rx_tail = after(rx_tail);
  return byte;
}

uint8_t room() { return static_cast<uint8_t>(tx_tail - tx_head - 1); }

uint8_t rx_dropped() { return dropped; }

void Transmit::put(uint8_t byte) { tx_ring[tx_next++] = byte; }

void Transmit::commit() {
  __asm__ volatile("" ::: "memory");  // the bytes before the index that reveals them
  tx_head = tx_next;
  UCSR0B |= _BV(UDRIE0);
}
}  // namespace serial

ISR(USART_RX_vect) {
  using namespace serial;
  const uint8_t errors = UCSR0A & (_BV(FE0) | _BV(DOR0));  // before the data, which moves on
  const uint8_t byte = UDR0;
  const uint8_t next = after(rx_head);
  if (errors) {
    dropped = dropped + 1;
  }
  if (errors & _BV(FE0)) {
    return;
  }
  if (next == rx_tail) {
    dropped = dropped + 1;
    return;
  }
  rx_ring[rx_head] = byte;
  rx_head = next;
}

ISR(USART_UDRE_vect) {
  using namespace serial;
  const uint8_t tail = tx_tail;
  if (tail == tx_head) {
    UCSR0B &= static_cast<uint8_t>(~_BV(UDRIE0));
    return;
  }
  UDR0 = tx_ring[tail];
  tx_tail = static_cast<uint8_t>(tail + 1);
}
