// The row of contacts and the coils behind it, as on the drawing of the contactor chain.
#include "chain.h"

#include <math.h>

namespace plant {

void Chain::prepare(double dt_s) {
  step_s_ = dt_s;
  keep_ = model.cut_out_lag_s > 0 ? exp(-dt_s / model.cut_out_lag_s) : 0.0;
}

void Chain::advance(const Drive& drive, bool floats, double low_c, const FaultSchedule& faults) {
  const double dt_s = step_s_;
  powered_ = !faults.on(Fault::MainsLost);
  sensor_c_ = low_c + (sensor_c_ - low_c) * keep_;
  if (sensor_c_ >= model.cut_out_c && !faults.on(Fault::CutOutDead)) cut_out_closed_ = false;

  level_seen_ = floats && powered_;
  const bool level = level_.follow(level_seen_, 0, model.level_delay_s, dt_s) ||
                     faults.on(Fault::LevelRelayStuck);
  live_ = powered_ && !faults.on(Fault::EmergencyStop) && cut_out_closed_ && level;

  const bool coil = live_ && drive.contactor && !faults.on(Fault::ContactorDead);
  contactor_closed_ =
      contactor_.follow(coil, model.contactor_close_s, model.contactor_open_s, dt_s) ||
      faults.on(Fault::ContactorWelded);
  feed_closed_ = feed_.follow(live_ && drive.element_feed, model.feed_close_s, model.feed_open_s,
                              dt_s) ||
                 faults.on(Fault::FeedContactorWelded);
  const bool relay = heater_relay_.follow(live_ && drive.heater, model.heater_relay_close_s,
                                          model.heater_relay_open_s, dt_s) ||
                     faults.on(Fault::HeaterWelded);
  heater_flows_ = powered_ && contactor_closed_ && relay && !faults.on(Fault::HeaterOpen);
  heater_sensed_ = heater_sense_.follow(heater_flows_, model.heater_sense_close_s,
                                        model.heater_sense_open_s, dt_s);
}

void Chain::reset_cut_out() {
  if (sensor_c_ < model.cut_out_c - model.cut_out_reset_k) cut_out_closed_ = true;
}

}  // namespace plant
