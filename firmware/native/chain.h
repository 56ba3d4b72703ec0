// The contactor chain: what must be closed, without any software, before heat can flow.
//
// Stop, cut-out and the level relay's delayed contact stand in one row; behind them hang the coils
// of the main contactor and of the element feed contactor and the control of the heater's relay.
#pragma once

#include "fault.h"

namespace plant {

// What the controller switches and sets.
struct Drive {
  bool contactor, heater, element_feed, stirrer, cooling, horn;
  bool station_switch[kStations];
  uint16_t element_code[kStations];  // 0..4095, 0.5 mA each
};

// Times are of switching parts, from coil to contact; they show in whole steps of the plant.
struct ChainModel {
  double cut_out_c = 115.0;
  double cut_out_lag_s = 20.0;    // of its own sensor
  double cut_out_reset_k = 10.0;  // below cut_out_c, from where on its button holds
  double level_delay_s = 2.0;     // from the float's fall to the chain's contact
  double contactor_close_s = 0.03, contactor_open_s = 0.03;
  double feed_close_s = 0.03, feed_open_s = 0.03;
  double heater_relay_close_s = 0.0, heater_relay_open_s = 0.0;
  double heater_sense_close_s = 0.0, heater_sense_open_s = 0.0;
};

// A contact that follows its coil some time later.
class Contact {
 public:
  bool follow(bool powered, double close_s, double open_s, double dt_s) {
    if (powered == closed_) {
      waited_s_ = 0;
      return closed_;
    }
    waited_s_ += dt_s;
    if (waited_s_ < (powered ? close_s : open_s) - kRounding) return closed_;
    waited_s_ = 0;
    return closed_ = powered;
  }

 private:
  static constexpr double kRounding = 1e-9;
  bool closed_ = false;
  double waited_s_ = 0;
};

class Chain {
 public:
  ChainModel model;

  void start(double at_c) { sensor_c_ = at_c; }
  void prepare(double dt_s);
  // One step: the float's contact, and the coolant at the cut-out's sensor.
  void advance(const Drive& drive, bool floats, double low_c, const FaultSchedule& faults);
  // Holds only where the sensor has become cold enough.
  void reset_cut_out();

  double cut_out_sensor_c() const { return sensor_c_; }
  bool cut_out_closed() const { return cut_out_closed_; }
  bool live() const { return live_; }  // the row of contacts is closed and has its supply
  bool contactor_closed() const { return contactor_closed_; }
  bool feed_closed() const { return feed_closed_; }
  bool powered() const { return powered_; }  // mains, and with it the supplies behind them
  bool heater_flows() const { return heater_flows_; }
  bool heater_sensed() const { return heater_sensed_; }
  bool level_seen() const { return level_seen_; }

 private:
  double step_s_ = 0.025, keep_ = 0, sensor_c_ = 20;
  bool cut_out_closed_ = true, live_ = false, powered_ = true, level_seen_ = true;
  bool contactor_closed_ = false, feed_closed_ = false;
  bool heater_flows_ = false, heater_sensed_ = false;
  Contact level_, contactor_, feed_, heater_relay_, heater_sense_;
};

}  // namespace plant
