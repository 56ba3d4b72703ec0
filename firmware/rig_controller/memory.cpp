// Copies: where they stand, which is newest, in which order they are burnt.

#include "memory.h"

#include "board.h"
#include "line.h"

namespace {

constexpr uint8_t bytes_a_poll = 8;  // those that need no burning take time too
constexpr uint8_t overhead = 3;  // generation before the payload, CRC behind it

uint16_t address_of(uint8_t item, uint8_t copy) {
  uint16_t address = 0;
  for (uint8_t i = 0; i < item; ++i) address += 2 * (item_size[i] + overhead);
  return address + copy * (item_size[item] + overhead);
}

// Differs for each item and is not 0, so that neither a blank nor a strange copy passes.
uint16_t crc_start(uint8_t item) {
  return 0xA500 + item;
}

struct Copy {
  bool good;
  uint8_t generation;
};

Copy inspect(uint8_t item, uint8_t copy) {
  const uint16_t address = address_of(item, copy);
  const uint8_t checked = item_size[item] + 1;
  uint16_t crc = crc_start(item);
  for (uint8_t i = 0; i < checked; ++i) crc = crc_update(crc, board::eeprom_read(address + i));
  const bool good = board::eeprom_read(address + checked) == crc >> 8 &&
                    board::eeprom_read(address + checked + 1) == (crc & 0xFF);
  return {good, board::eeprom_read(address)};
}

}  // namespace

Found Memory::load(Item item, void* payload) {
  const uint8_t number = uint8_t(item);
  Slot& slot = slots_[number];
  slot.payload = static_cast<const uint8_t*>(payload);

  const Copy copies[2] = {inspect(number, 0), inspect(number, 1)};
  if (!copies[0].good && !copies[1].good) return Found::nothing;
  const bool second_newer = int8_t(copies[1].generation - copies[0].generation) > 0;
  const uint8_t newest = !copies[0].good || (copies[1].good && second_newer) ? 1 : 0;

  uint8_t* out = static_cast<uint8_t*>(payload);
  const uint16_t address = address_of(number, newest) + 1;
  for (uint8_t i = 0; i < item_size[number]; ++i) out[i] = board::eeprom_read(address + i);
  slot.generation = copies[newest].generation;
  slot.next_copy = 1 - newest;
  const Copy& other = copies[1 - newest];
  if (!other.good || other.generation != slot.generation) slot.copies_left = 1;
  return other.good ? Found::both_copies : Found::one_copy;
}

void Memory::store(Item item) {
  Slot& slot = slots_[uint8_t(item)];
  ++slot.generation;
  slot.copies_left = 2;
  if (current_ == uint8_t(item)) current_ = items;
}

bool Memory::busy() const {
  for (const Slot& slot : slots_)
    if (slot.copies_left) return true;
  return false;
}

// Takes up the most urgent item; one that was interrupted begins its copy again.
bool Memory::choose() {
  uint8_t item = 0;
  while (item < items && !slots_[item].copies_left) ++item;
  if (item == items) return false;
  if (item == current_) return true;
  current_ = item;
  position_ = 0;
  const Slot& slot = slots_[item];
  crc_ = crc_update(crc_start(item), slot.generation);
  for (uint8_t i = 0; i < item_size[item]; ++i) crc_ = crc_update(crc_, slot.payload[i]);
  return true;
}

uint8_t Memory::byte_at(const Slot& slot) const {
  if (position_ == 0) return slot.generation;
  if (position_ <= item_size[current_]) return slot.payload[position_ - 1];
  return position_ == item_size[current_] + 1 ? crc_ >> 8 : crc_ & 0xFF;
}

void Memory::poll() {
  for (uint8_t i = 0; i < bytes_a_poll && board::eeprom_ready() && choose(); ++i) {
    Slot& slot = slots_[current_];
    board::eeprom_update(address_of(current_, slot.next_copy) + position_, byte_at(slot));
    if (++position_ < item_size[current_] + overhead) continue;
    --slot.copies_left;
    slot.next_copy = 1 - slot.next_copy;
    current_ = items;
  }
}
