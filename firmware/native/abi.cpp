// The C interface of the virtual bench, for ctypes.

#include <string.h>

#include <cmath>

#include "controller_night.h"

namespace {

ControllerBench& bench(void* handle) { return *static_cast<ControllerBench*>(handle); }

}  // namespace

extern "C" {

void* pb_create(uint64_t seed) { return new ControllerBench(seed); }

void pb_destroy(void* handle) { delete static_cast<ControllerBench*>(handle); }

// 0, or -1 for an unknown key.
int pb_set(void* handle, const char* key, double value) {
  return bench(handle).plant.set(key, value) ? 0 : -1;
}

// NaN for an unknown key.
double pb_get(void* handle, const char* key) {
  double value = NAN;
  return bench(handle).get(key, &value) ? value : NAN;
}

// 0, or -1 for an unknown kind.
int pb_fault(void* handle, const char* kind, int station, double at_s, double until_s,
             double size) {
  return bench(handle).plant.fault(kind, station, at_s, until_s, size) ? 0 : -1;
}

void pb_boot(void* handle, int boot_cause) { bench(handle).boot(wire::BootCause(boot_cause)); }

// Host bytes arrive, one tick of 100 ms passes; returns how many controller bytes came out.
// What exceeds the capacity comes with the next call.
int pb_advance(void* handle, const char* in, int in_length, char* out, int capacity) {
  ControllerBench& b = bench(handle);
  b.advance(in, size_t(in_length));
  const size_t count = b.board.sent.copy(out, size_t(capacity));
  b.board.sent.erase(0, count);
  return int(count);
}

// Reads, or with `write` replaces, the first `count` bytes of the EEPROM.
void pb_eeprom(void* handle, uint8_t* bytes, int count, int write) {
  uint8_t* eeprom = bench(handle).board.eeprom;
  const size_t limit = sizeof bench(handle).board.eeprom;
  const size_t length = count < 0 ? 0 : size_t(count) < limit ? size_t(count) : limit;
  if (write) memcpy(eeprom, bytes, length);
  else memcpy(bytes, eeprom, length);
}

// Runs a healthy night with the scripted host until its hours are over or the controller trips;
// fills `out` with the numbers of NightRecord in its order.
void pb_scripted_night(void* handle, double hours, uint64_t seed, double* out) {
  ScriptedHost host(bench(handle), seed);
  while (!host.tripped() && host.record().hours < hours) host.tick();
  static_assert(sizeof(NightRecord) == 12 * sizeof(double), "the record is numbers only");
  memcpy(out, &host.record(), sizeof(NightRecord));
}

}  // extern "C"

