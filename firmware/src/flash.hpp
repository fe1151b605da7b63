// Tables in flash on the board, plain memory on the host where the same logic is tested.
#pragma once
#include <stdint.h>

#ifdef __AVR__
#include <avr/pgmspace.h>
inline uint32_t flash_u32(const uint32_t *at) { return pgm_read_dword(at); }
inline char flash_char(const char *at) { return static_cast<char>(pgm_read_byte(at)); }
#else
#define PROGMEM
#define PSTR(text) (text)
inline uint32_t flash_u32(const uint32_t *at) { return *at; }
inline char flash_char(const char *at) { return *at; }
#endif
