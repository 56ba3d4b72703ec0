#include "cpu.h"

#include <simavr/avr_eeprom.h>
#include <simavr/avr_extint.h>
#include <simavr/avr_ioport.h>
#include <simavr/avr_spi.h>
#include <simavr/avr_uart.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <string.h>

#include <fstream>
#include <stdexcept>

namespace simulator {
namespace {

constexpr uint32_t frequency_hz = 1000000 * cycles_per_us;
constexpr uint32_t supply_mv = 5000;
constexpr uint64_t bus_byte_cycles = 8 * 16;      // 8 bits at a sixteenth of the clock
constexpr uint32_t most_bytes_without_scan = 16;  // set-points of eight channels

struct Processor {
  uint8_t architecture;  // lowest byte of the ELF's flags
  const char* name;
  const board::PinMap* pins;
};
constexpr Processor processors[] = {{5, "atmega328p", &board::atmega328p_pins},
                                    {6, "atmega2560", &board::atmega2560_pins}};

// Which processor a firmware was linked for, from the header of its 32-bit little-endian ELF.
const Processor& processor_of(const std::string& elf_path) {
  constexpr int flags_offset = 36, machine_offset = 18, machine_avr = 83;
  unsigned char header[52] = {};
  std::ifstream file(elf_path, std::ios::binary);
  if (!file.read(reinterpret_cast<char*>(header), sizeof header))
    throw std::runtime_error(elf_path + ": cannot be read; build it with make");
  if (memcmp(header, "\177ELF", 4) == 0 && header[machine_offset] == machine_avr)
    for (const Processor& p : processors)
      if (p.architecture == (header[flags_offset] & 0x7F)) return p;
  throw std::runtime_error(elf_path + ": no firmware of an ATmega2560 or ATmega328P");
}

avr_cycle_count_t ring(avr_t*, avr_cycle_count_t, void* rung) {
  *static_cast<bool*>(rung) = true;
  return 0;
}

void log_errors(avr_t*, const int level, const char* format, va_list arguments) {
  if (level <= LOG_ERROR) vfprintf(stderr, format, arguments);
}

// What a byte of memory holds when the power comes.
uint8_t noise(uint32_t address) { return uint8_t(address * 2654435761u >> 24); }

Cpu& cpu_of(void* self) { return *static_cast<Cpu*>(self); }

}  // namespace

Cpu::Cpu(const std::string& elf_path, Surroundings& surroundings) : surroundings_(surroundings) {
  avr_global_logger_set(log_errors);
  load(elf_path);
  connect_serial();
  connect_bus();
  connect_pins();
}

void Cpu::load(const std::string& elf_path) {
  const Processor& processor = processor_of(elf_path);
  pins_ = processor.pins;
  elf_firmware_t firmware = {};
  if (elf_read_firmware(elf_path.c_str(), &firmware) != 0)
    throw std::runtime_error(elf_path + ": is damaged; build it again");
  avr_ = avr_make_mcu_by_name(processor.name);
  if (!avr_) throw std::runtime_error(std::string("libsimavr knows no ") + processor.name);
  avr_init(avr_);
  avr_load_firmware(avr_, &firmware);
  avr_->frequency = frequency_hz;
  avr_->vcc = avr_->avcc = avr_->aref = supply_mv;
  // In lock step, sleeping takes no time of the world outside.
  avr_->sleep = [](avr_t* avr, avr_cycle_count_t cycles) {
    cpu_of(avr->custom.data).falls_asleep(cycles);
  };
  avr_->log = LOG_ERROR;
  // Resets the processor makes itself (watchdog) are noticed on their way through the core.
  core_reset_ = avr_->reset;
  avr_->custom.data = this;
  avr_->reset = [](avr_t* avr) {
    Cpu& cpu = cpu_of(avr->custom.data);
    if (cpu.core_reset_) cpu.core_reset_(avr);
    cpu.was_reset_ = true;
    avr->run_cycle_limit = frequency_hz;  // no stop after each instruction: 2 times as fast
  };
}

void Cpu::connect_serial() {
  uint32_t flags = 0;  // no copy on the console, no waiting for input in real time
  avr_ioctl(avr_, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
  avr_irq_t* uart = avr_io_getirq(avr_, AVR_IOCTL_UART_GETIRQ('0'), 0);
  serial_in_ = uart + UART_IRQ_INPUT;
  const auto on_sent = [](avr_irq_t*, uint32_t byte, void* self) {
    cpu_of(self).surroundings_.sent(uint8_t(byte));
  };
  const auto on_ready = [](avr_irq_t*, uint32_t, void* self) {
    cpu_of(self).receiver_ready_ = true;
  };
  const auto on_full = [](avr_irq_t*, uint32_t, void* self) {
    cpu_of(self).receiver_ready_ = false;
  };
  avr_irq_register_notify(uart + UART_IRQ_OUTPUT, on_sent, this);
  avr_irq_register_notify(uart + UART_IRQ_OUT_XON, on_ready, this);
  avr_irq_register_notify(uart + UART_IRQ_OUT_XOFF, on_full, this);
}

void Cpu::connect_bus() {
  for (avr_io_t* module = avr_->io_port; module; module = module->next)
    if (strcmp(module->kind, "spi") == 0)
      bus_interrupt_ = &reinterpret_cast<avr_spi_t*>(module)->spi;
  avr_irq_t* spi = avr_io_getirq(avr_, AVR_IOCTL_SPI_GETIRQ(0), 0);
  bus_in_ = spi + SPI_IRQ_INPUT;
  const auto on_byte = [](avr_irq_t*, uint32_t byte, void* self) {
    cpu_of(self).bus_byte(uint8_t(byte));
  };
  avr_irq_register_notify(spi + SPI_IRQ_OUTPUT, on_byte, this);
}

// Also called again and again while it sleeps; then it was awake for nothing.
void Cpu::falls_asleep(uint64_t for_cycles) {
  awake_ += avr_->cycle - awake_since_;
  awake_since_ = avr_->cycle + 1 + for_cycles;
  if (surroundings_.bus_in_use()) return;
  const bool scan = bus_bytes_ > most_bytes_without_scan;
  double& longest_us = scan ? pass_times_.scan_us : pass_times_.other_us;
  const double us = double(awake_ + bus_bytes_ * bus_byte_cycles) / cycles_per_us;
  longest_us = us > longest_us ? us : longest_us;
  awake_ = bus_bytes_ = 0;
}

PassTimes Cpu::take_pass_times() {
  const PassTimes times = pass_times_;
  pass_times_ = PassTimes();
  return times;
}

void Cpu::bus_byte(uint8_t byte) {
  ++bus_bytes_;
  avr_raise_irq(bus_in_, surroundings_.bus_transfer(byte));
  if (!bus_held_) return;
  avr_clear_interrupt(avr_, bus_interrupt_);
  bus_interrupt_owed_ = true;
}

void Cpu::hold_bus(bool held) {
  bus_held_ = held;
  if (!held && bus_interrupt_owed_) avr_raise_interrupt(avr_, bus_interrupt_);
  if (!held) bus_interrupt_owed_ = false;
}

void Cpu::connect_pins() {
  for (avr_io_t* module = avr_->io_port; module; module = module->next) {
    if (strcmp(module->kind, "port") != 0) continue;
    avr_ioport_t* found = reinterpret_cast<avr_ioport_t*>(module);
    ports_[found->name - 'A'] = found;
  }
  const auto on_output = [](avr_irq_t*, uint32_t, void* self) {
    cpu_of(self).surroundings_.outputs_changed();
  };
  const auto on_select = [](avr_irq_t*, uint32_t, void* self) {
    cpu_of(self).surroundings_.select_changed();
  };
  const auto watch = [this](board::Pin pin, avr_irq_notify_t report) {
    avr_irq_register_notify(port(pin).io.irq + pin.bit, report, this);
  };
  for (board::Pin pin : {pins_->contactor, pins_->heater, pins_->element_feed, pins_->stirrer,
                         pins_->cooling, pins_->horn})
    if (pin.port) watch(pin, on_output);
  for (int s = 0; s < pins_->stations; ++s) watch(pins_->station_switch[s], on_output);
  for (board::Pin pin : pins_->select) watch(pin, on_select);
}

bool Cpu::level(board::Pin pin, bool undriven) const {
  if (!pin.port) return undriven;
  const avr_ioport_t& p = port(pin);
  const bool driven = avr_->data[p.r_ddr] >> pin.bit & 1;
  return driven ? avr_->data[p.r_port] >> pin.bit & 1 : undriven;
}

void Cpu::drive_pin(board::Pin pin, bool high) {
  avr_ioport_t& p = port(pin);
  const uint8_t mask = uint8_t(1 << pin.bit);
  // Holds the level against the pull-up, which simavr applies anew at every write to the port.
  p.external.pull_mask |= mask;
  p.external.pull_value = uint8_t(high ? p.external.pull_value | mask
                                       : p.external.pull_value & ~mask);
  avr_irq_t* irq = p.io.irq + pin.bit;
  avr_raise_irq(irq, !high);  // a level equal to the one before a reset would not get through
  avr_raise_irq(irq, high);
}

uint64_t Cpu::now() const { return avr_->cycle; }

void Cpu::run_until(uint64_t cycle) {
  while (avr_->cycle < cycle) {
    bool rung = false;
    was_reset_ = false;
    avr_cycle_timer_register(avr_, cycle - avr_->cycle, ring, &rung);
    while (!rung && !was_reset_) {
      const int state = avr_run(avr_);
      if (state == cpu_Done || state == cpu_Crashed)
        throw std::runtime_error("the processor stopped: asleep for ever, or lost");
    }
    if (was_reset_) after_reset();  // which wiped the timer
  }
}

void Cpu::after_reset() {
  // A low pin of a level-triggered interrupt, the state after reset, would be polled each cycle.
  for (uint8_t i = 0; i < EXTINT_COUNT; ++i)
    if (avr_extint_is_strict_lvl_trig(avr_, i) > 0) avr_extint_set_strict_lvl_trig(avr_, i, 0);
  bus_held_ = bus_interrupt_owed_ = false;
  awake_since_ = avr_->cycle;
  awake_ = bus_bytes_ = 0;
  receiver_ready_ = true;
  surroundings_.was_reset();
}

void Cpu::reset(uint8_t flags) {
  constexpr uint8_t power_on = 1, external = 2, brown_out = 4;
  avr_reset(avr_);
  if (flags & (power_on | brown_out))
    for (uint32_t at = avr_->ioend + 1u; at <= avr_->ramend; ++at) avr_->data[at] = noise(at);
  if (flags & power_on) avr_regbit_set(avr_, avr_->reset_flags.porf);
  if (flags & external) avr_regbit_set(avr_, avr_->reset_flags.extrf);
  if (flags & brown_out) avr_regbit_set(avr_, avr_->reset_flags.borf);
  after_reset();
}

uint32_t Cpu::stack_unused() const {
  uint32_t longest = 0, run = 0;
  for (uint32_t at = avr_->ioend + 1u; at <= avr_->ramend; ++at) {
    run = avr_->data[at] == noise(at) ? run + 1 : 0;
    longest = run > longest ? run : longest;
  }
  return longest;
}

void Cpu::receive(uint8_t byte) { avr_raise_irq(serial_in_, byte); }

bool Cpu::poke_program(uint32_t address, uint8_t byte) {
  if (address > avr_->flashend) return false;
  avr_->flash[address] = byte;
  return true;
}

bool Cpu::poke_memory(uint32_t address, uint8_t byte) {
  if (address <= avr_->ioend || address > avr_->ramend) return false;
  avr_->data[address] = byte;
  return true;
}

// simavr derives the watchdog's cycles, and what takes microseconds, from the clock's frequency.
void Cpu::watchdog_rate(double rate) { avr_->frequency = uint32_t(frequency_hz / rate); }

std::vector<uint8_t> Cpu::read_eeprom() const {
  std::vector<uint8_t> bytes(avr_->e2end + 1);
  avr_eeprom_desc_t all = {bytes.data(), 0, uint32_t(bytes.size())};
  avr_ioctl(avr_, AVR_IOCTL_EEPROM_GET, &all);
  return bytes;
}

void Cpu::write_eeprom(std::vector<uint8_t> bytes) {
  bytes.resize(avr_->e2end + 1, 0xFF);
  avr_eeprom_desc_t all = {bytes.data(), 0, uint32_t(bytes.size())};
  avr_ioctl(avr_, AVR_IOCTL_EEPROM_SET, &all);
}

}  // namespace simulator
