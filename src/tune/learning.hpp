// What this bow answers to a change: the arrow model's draws, or common practice, and the
// session's own set-ups in one regression.
#pragma once

#include <Eigen/Core>
#include <array>
#include <map>
#include <memory>
#include <string>
#include <vector>

#include "nocktrail/tune/judgement.hpp"
#include "nocktrail/tune/regression.hpp"
#include "setup_view.hpp"

namespace nocktrail::tune {

// Draws of the mean offset along one quantity, the rest as in the latest set-up.
struct Answer {
  std::vector<double> at;  // ascending, SI; from the present value where that is not told
  std::size_t here = 0;    // index of the present value
  // One row a draw. Lateral: positive acts stiff, for either hand; vertical: positive is nock high.
  Eigen::MatrixXd offset_deg;
  Learned learned;
  bool told = true;  // whether the present value is known

  double chance(std::size_t point, double above_deg) const;  // share of draws above
  double median(std::size_t point) const;
  // Between two points, linearly: share of draws above, and the median, at a value of the quantity.
  double chance_at(double value, double above_deg) const;
  double median_at(double value) const;
};

class BowModel;

class Learner {
 public:
  // `setups` must outlive the learner; `latest` is the one from which steps are taken.
  Learner(const std::vector<SetupView>& setups, std::size_t latest,
          const JudgementOptions& options);
  ~Learner();
  Learner(const Learner&) = delete;
  Learner& operator=(const Learner&) = delete;

  // Cached: asking twice costs nothing.
  const Answer& lateral(Quantity quantity);
  const Answer& vertical(Quantity quantity);

  const ModelSetup& present() const { return present_; }

 private:
  const Answer& answer(Quantity quantity, bool vertical);
  Answer compute(Quantity quantity, bool vertical);

  const std::vector<SetupView>& setups_;
  std::size_t latest_;
  JudgementOptions options_;
  ModelSetup present_;
  std::array<std::unique_ptr<BowModel>, 2> models_;  // lateral, vertical
  std::map<std::pair<Quantity, bool>, Answer> answers_;
};

// +1 or -1: what turns nock_right into "acts stiff" for the hand. Right where unknown.
double stiff_sign(Hand hand);

// The part of a set-up that the regression has no number for; alike strings are alike set-ups.
std::string rest_of(const SetupFacts& facts);

// Shortest shaft that may be advised at this draw: the end of the shaft half an inch past the rest
// at full draw.
double shortest_safe_m(double draw_m);

}  // namespace nocktrail::tune
