// What survives a reset, in EEPROM: each item in two copies with generation and CRC.
// The copies are burnt one after the other, never the newest good one first, so that a cut at any
// byte leaves one whole copy. Burning goes on in the background, a byte at a time.

#pragma once
#include <stdint.h>

// In order of urgency.
enum class Item : uint8_t { trip, boot, serial, limits };
constexpr uint8_t items = 4;

// Bytes of each item's payload, in the same order.
constexpr uint8_t item_size[items] = {11, 2, 4, 88};

enum class Found : uint8_t { nothing, one_copy, both_copies };

class Memory {
 public:
  // Fills the payload from the newest good copy; the other one is repaired.
  // `payload` must outlive this object: it is what gets burnt.
  Found load(Item item, void* payload);

  // Begins to burn the payload given to load() as it stands now.
  void store(Item item);

  // Burns what the board is ready for.
  void poll();

  bool busy() const;

 private:
  struct Slot {
    const uint8_t* payload = nullptr;
    uint8_t generation = 0;
    uint8_t next_copy = 0;
    uint8_t copies_left = 0;
  };

  bool choose();
  uint8_t byte_at(const Slot& slot) const;

  Slot slots_[items];
  uint16_t crc_ = 0;
  uint8_t current_ = items;  // item being burnt; `items` = none
  uint8_t position_ = 0;
};
