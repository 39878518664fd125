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
  // What is believed before the shots, and what they make of it.
  struct Prior {
    Regression regression;
    Posterior posterior;
    std::string words;
  };

  const Answer& answer(Quantity quantity, bool vertical);
  Answer compute(Quantity quantity, bool vertical);
  double sign_of(bool vertical) const;
  const OffsetSummary& offset_of(std::size_t setup, bool vertical) const;
  // The measured set-ups and the places where the answer is wanted, without a prior yet.
  Regression told_and_wanted(const Answer& answer, Quantity quantity, bool vertical) const;
  // The arrow model where it can be asked and the shots do not refute it, else common practice.
  Prior prior_of(const Regression& told, const Answer& answer, Quantity quantity, bool vertical);
  Regression by_model(Regression regression, const Answer& answer, Quantity quantity,
                      bool vertical);
  std::vector<Learned::Point> points_on_curve(const Regression& told, Quantity quantity,
                                              bool vertical) const;

  const std::vector<SetupView>& setups_;
  std::size_t latest_;
  JudgementOptions options_;
  ModelSetup present_;
  // The counted set-ups of the same hand, and as the arrow model takes them.
  std::vector<std::size_t> used_;
  std::vector<std::optional<arrow::Setup>> used_models_;
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
