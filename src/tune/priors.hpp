// What is believed before the first shot: common practice in figures, and what the arrow model may
// miss. Common practice, no source, throughout: sizes in pounds of spine are the trade's rules of
// thumb, which differ by a factor of two to three, at about half a degree a pound.
#pragma once

#include "nocktrail/tune/judgement.hpp"
#include "nocktrail/tune/regression.hpp"

namespace nocktrail::tune {

// The step in which the regression counts a quantity, SI: 1 in of shaft, 25 gr of tip, 1/16 in of
// nocking point, 1/4 in of brace height, 1/32 in of plate, 5 lb of wood spine (as EI).
double usual_step(Quantity quantity);

// Mean of the prior without a model: acts stiffer (positive) or nock high, per usual step, zero at
// the latest set-up.
double practice_offset_deg(const Place& place, bool vertical);
Discrepancy practice_discrepancy(bool vertical);

// What a film of a real shot may differ from the arrow model when all unknowns are right.
Discrepancy model_discrepancy(bool vertical);

// How far about the present value a quantity is looked at, SI.
struct AxisRange {
  double below = 0.0;
  double above = 0.0;
  double step = 0.0;
  double least = 0.0;
};
AxisRange axis_range(Quantity quantity);

}  // namespace nocktrail::tune
