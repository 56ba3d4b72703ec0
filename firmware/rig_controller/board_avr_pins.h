// Where every wire of the bench meets the AVR: one table a board, read by board_avr.cpp, by the
// simulator's wiring and by whoever documents them.
//
// Outputs are high = on; each driver's input has a pull-down, so a reset or a loose wire is off.
// Inputs are contacts to ground against the pull-up, low = the wording of their name; a loose
// wire reads as level low, stirrer still, emergency stop pressed, heater dead, contactor closed.
// The three select lines feed a 3-to-8 decoder with active-low outputs: the number on them is the
// board::Chip whose select goes low, 7 selects none (pull-ups keep it there through a reset). They
// share a port and change in one write, and no clock edge falls while they do.

#pragma once
#include <stdint.h>

#include "wire.h"

namespace board {

struct Pin {
  char port;
  uint8_t bit;
};

// Stands for a wire that a board does not have.
constexpr Pin no_pin = {0, 0};

struct PinMap {
  Pin contactor, heater, element_feed, stirrer, cooling, horn;
  Pin level_ok, stirrer_turning, emergency_stop_closed, heater_live, contactor_open;
  Pin select[3];  // lowest bit first
  Pin bus_select, clock, data_out, data_in;  // SPI; bus_select must be an output
  uint8_t stations;
  Pin station_switch[wire::stations];
};

constexpr uint8_t no_chip = 7;

constexpr PinMap atmega2560_pins = {
    {'A', 0},  // D22  contactor: coil of the two-pole main contactor
    {'A', 1},  // D23  heater: relay of the bath heater
    {'A', 2},  // D24  element_feed: supply contactor of all elements
    {'A', 3},  // D25  stirrer: motor relay
    {'A', 4},  // D26  cooling: solenoid valve
    {'A', 5},  // D27  horn: sounds while heat goes on with everything off
    {'F', 0},  // A0   level_ok: float switch, closed = covered
    {'F', 1},  // A1   stirrer_turning: rotation relay, closed = turning
    {'F', 2},  // A2   emergency_stop_closed: loop through every stop button
    {'F', 3},  // A3   heater_live: current relay behind the heater relay, closed = current
    {'F', 4},  // A4   contactor_open: mirror contact, closed = contactor open
    {{'L', 0}, {'L', 1}, {'L', 2}},  // D49 D48 D47  select: decoder inputs A, B, C
    {'B', 0},  // D53  bus_select: not connected
    {'B', 1},  // D52  clock
    {'B', 2},  // D51  data_out
    {'B', 3},  // D50  data_in
    6,
    // D37 D36 D35 D34 D33 D32  station_switch 1 to 6
    {{'C', 0}, {'C', 1}, {'C', 2}, {'C', 3}, {'C', 4}, {'C', 5}},
};

constexpr PinMap atmega328p_pins = {
    {'D', 2},  // D2   contactor
    {'D', 3},  // D3   heater
    {'D', 4},  // D4   element_feed
    {'D', 5},  // D5   stirrer
    {'D', 6},  // D6   cooling
    no_pin,    //      horn: no pin is left
    {'B', 0},  // D8   level_ok
    {'B', 1},  // D9   stirrer_turning
    {'C', 3},  // A3   emergency_stop_closed
    {'C', 4},  // A4   heater_live
    {'C', 5},  // A5   contactor_open
    {{'C', 0}, {'C', 1}, {'C', 2}},  // A0 A1 A2  select
    {'B', 2},  // D10  bus_select: is station 2's switch
    {'B', 5},  // D13  clock
    {'B', 3},  // D11  data_out
    {'B', 4},  // D12  data_in
    2,
    {{'D', 7}, {'B', 2}},  // D7 D10  station_switch 1 and 2
};

}  // namespace board
