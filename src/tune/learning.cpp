#include "learning.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "advice.hpp"
#include "bow_model.hpp"
#include "nocktrail/arrow/limits.hpp"
#include "nocktrail/tune/statistics.hpp"
#include "priors.hpp"

namespace nocktrail::tune {
namespace {

constexpr std::size_t kPaths = 1000;
constexpr std::size_t kVerticalDraws = 60;  // both planes cost more, and nothing is cut by them
// A set-up that is taken down and put up again is not quite the same one.
constexpr double kSetupNoise_deg = 0.1;
// Log odds at which shots that the model cannot explain are handed to common practice instead.
constexpr double kModelRefuted = 3.0;

arrow::Band column_band(const Eigen::MatrixXd& paths, Eigen::Index column, double sign) {
  std::vector<double> values(static_cast<std::size_t>(paths.rows()));
  for (Eigen::Index i = 0; i < paths.rows(); ++i) {
    values[static_cast<std::size_t>(i)] = sign * paths(i, column);
  }
  return arrow::band_of(std::move(values));
}

Learned::Curve curve_of(const std::vector<double>& at, const Eigen::MatrixXd& paths, double sign) {
  Learned::Curve curve;
  curve.at = at;
  for (Eigen::Index k = 0; k < paths.cols(); ++k) {
    curve.offset_deg.push_back(column_band(paths, k, sign));
  }
  return curve;
}

arrow::Band slope_of(const Answer& answer, const Eigen::MatrixXd& paths, double sign) {
  const std::size_t low = answer.here > 0 ? answer.here - 1 : answer.here;
  const std::size_t high = std::min(answer.here + 1, answer.at.size() - 1);
  if (low == high) {
    return {};
  }
  const Eigen::VectorXd slope =
      (paths.col(static_cast<Eigen::Index>(high)) - paths.col(static_cast<Eigen::Index>(low))) *
      (sign / (answer.at[high] - answer.at[low]));
  return arrow::band_of({slope.begin(), slope.end()});
}

// Which shaft each set-up was shot with, as far as lengths tell: shafts do not grow. Only asked
// where the spine was not told.
std::vector<int> shafts_of(const std::vector<SetupView>& setups) {
  std::vector<int> shafts;
  std::optional<double> last_m;
  int shaft = 0;
  for (const SetupView& setup : setups) {
    const auto length_m = value_of(Quantity::shaft_length, setup.facts);
    if (length_m && last_m && *length_m > *last_m + 1e-4) {
      ++shaft;
    }
    last_m = length_m ? length_m : last_m;
    shafts.push_back(setup.facts.arrow.spine ? 0 : shaft);
  }
  return shafts;
}

// Where each path crosses zero, nearest to the present value; empty when fewer than half do.
std::optional<arrow::Band> crossing_of(const Answer& answer) {
  std::vector<double> found;
  for (Eigen::Index i = 0; i < answer.offset_deg.rows(); ++i) {
    std::optional<double> nearest;
    for (std::size_t k = 0; k + 1 < answer.at.size(); ++k) {
      const double a = answer.offset_deg(i, static_cast<Eigen::Index>(k));
      const double b = answer.offset_deg(i, static_cast<Eigen::Index>(k + 1));
      if ((a > 0.0) == (b > 0.0)) {
        continue;
      }
      const double at = answer.at[k] + (answer.at[k + 1] - answer.at[k]) * a / (a - b);
      const double here = answer.at[answer.here];
      if (!nearest || std::abs(at - here) < std::abs(*nearest - here)) {
        nearest = at;
      }
    }
    if (nearest) {
      found.push_back(*nearest);
    }
  }
  if (2 * found.size() < static_cast<std::size_t>(answer.offset_deg.rows())) {
    return std::nullopt;
  }
  return arrow::band_of(std::move(found));
}

// Values around the present one at which the answer is wanted, the present one among them.
void lay_out(Answer& answer, Quantity quantity, double present, const SetupFacts& facts,
             double data_low, double data_high) {
  const AxisRange range = axis_range(quantity);
  double low = std::min(present - range.below, data_low);
  double high = std::max(present + range.above, data_high);
  if (answer.told) {
    if (quantity == Quantity::shaft_length && facts.draw_m) {
      low = std::max(low, std::min(present, shortest_safe_m(*facts.draw_m)));
    }
    low = std::max(low, std::min(present, range.least));
  }
  const auto steps_below = static_cast<int>(std::floor((present - low) / range.step + 1e-9));
  const auto steps_above = static_cast<int>(std::ceil((high - present) / range.step - 1e-9));
  for (int k = -steps_below; k <= steps_above; ++k) {
    answer.at.push_back(present + k * range.step);
  }
  answer.here = static_cast<std::size_t>(steps_below);
}

// Common practice: one "draw", the usual slopes through zero, with wide terms about it.
Regression by_practice(Regression regression, bool vertical) {
  const auto practice_at = [&](const std::vector<Place>& places) {
    Eigen::MatrixXd row(1, static_cast<Eigen::Index>(places.size()));
    for (std::size_t k = 0; k < places.size(); ++k) {
      row(0, static_cast<Eigen::Index>(k)) = practice_offset_deg(places[k], vertical);
    }
    return row;
  };
  regression.discrepancy = practice_discrepancy(vertical);
  regression.model_measured = practice_at(regression.measured);
  regression.model_wanted = practice_at(regression.wanted);
  return regression;
}

}  // namespace

double stiff_sign(Hand hand) {
  return hand == Hand::left ? -1.0 : 1.0;
}

double shortest_safe_m(double draw_m) {
  return arrow::nock_to_rest_at_full_draw_m({Hand::right, draw_m}) + arrow::kLeastPastRest_m;
}

std::string rest_of(const SetupFacts& facts) {
  const auto number = [](const std::optional<double>& value) {
    return value ? fmt::format("{:.6g}", *value) : std::string("-");
  };
  return fmt::format("{}|{}|{}|{}|{}|{}|{}|{}", static_cast<int>(facts.arrow.fletching),
                     static_cast<int>(facts.hand), number(facts.draw_m),
                     number(facts.bow.draw_weight_n), number(facts.bow.rated_draw_m),
                     plain_name(facts.bow.name), plain_name(facts.bow.string),
                     number(facts.bow.string_mass_kg));
}

double Answer::chance(std::size_t point, double above_deg) const {
  return (offset_deg.col(static_cast<Eigen::Index>(point)).array() > above_deg)
      .cast<double>()
      .mean();
}

double Answer::median(std::size_t point) const {
  return column_band(offset_deg, static_cast<Eigen::Index>(point), 1.0).median;
}

namespace {

Eigen::VectorXd column_at(const Answer& answer, double value) {
  const auto above = std::lower_bound(answer.at.begin(), answer.at.end(), value);
  if (above == answer.at.begin()) {
    return answer.offset_deg.col(0);
  }
  if (above == answer.at.end()) {
    return answer.offset_deg.rightCols(1);
  }
  const auto high = above - answer.at.begin();
  const double share = (value - *(above - 1)) / (*above - *(above - 1));
  return (1.0 - share) * answer.offset_deg.col(high - 1) + share * answer.offset_deg.col(high);
}

}  // namespace

double Answer::chance_at(double value, double above_deg) const {
  return (column_at(*this, value).array() > above_deg).cast<double>().mean();
}

double Answer::median_at(double value) const {
  const Eigen::VectorXd column = column_at(*this, value);
  return arrow::band_of({column.begin(), column.end()}).median;
}

Learner::Learner(const std::vector<SetupView>& setups, std::size_t latest,
                 const JudgementOptions& options)
    : setups_(setups),
      latest_(latest),
      options_(options),
      present_(model_setup(setups[latest].facts)) {
  const std::size_t draws = std::max<std::size_t>(options.draws, 2);
  models_[0] = std::make_unique<BowModel>(draws, options.seed, false);
  models_[1] = std::make_unique<BowModel>(std::min(draws, kVerticalDraws), options.seed, true);
  for (std::size_t i = 0; i < setups_.size(); ++i) {
    if (counted(setups_[i]) && setups_[i].facts.hand == setups_[latest_].facts.hand) {
      used_.push_back(i);
      used_models_.push_back(model_setup(setups_[i].facts).setup);
    }
  }
}

Learner::~Learner() = default;

const Answer& Learner::lateral(Quantity quantity) {
  return answer(quantity, false);
}

const Answer& Learner::vertical(Quantity quantity) {
  return answer(quantity, true);
}

const Answer& Learner::answer(Quantity quantity, bool vertical) {
  const auto key = std::pair{quantity, vertical};
  const auto found = answers_.find(key);
  if (found != answers_.end()) {
    return found->second;
  }
  return answers_.emplace(key, compute(quantity, vertical)).first->second;
}

double Learner::sign_of(bool vertical) const {
  return vertical ? 1.0 : stiff_sign(setups_[latest_].facts.hand);
}

const OffsetSummary& Learner::offset_of(std::size_t setup, bool vertical) const {
  const SetupJudgement& judgement = setups_[setup].judgement;
  return vertical ? *judgement.vertical : *judgement.lateral;
}

Answer Learner::compute(Quantity quantity, bool vertical) {
  const SetupFacts& latest = setups_[latest_].facts;
  const std::optional<double> present = value_of(quantity, latest);
  Answer answer;
  answer.told = present.has_value();
  double low = present.value_or(0.0);
  double high = low;
  for (const std::size_t i : used_) {
    if (const auto value = value_of(quantity, setups_[i].facts); value && present) {
      low = std::min(low, *value);
      high = std::max(high, *value);
    }
  }
  lay_out(answer, quantity, present.value_or(0.0), latest, low, high);
  const Regression told = told_and_wanted(answer, quantity, vertical);
  Prior prior = prior_of(told, answer, quantity, vertical);
  answer.offset_deg = sampled(prior.posterior, kPaths, options_.seed);

  const double sign = sign_of(vertical);
  Learned& learned = answer.learned;
  learned.quantity = quantity;
  learned.vertical = vertical;
  learned.whole_arrow =
      quantity == Quantity::shaft_length && !latest.arrow.shaft_length_m && present.has_value();
  learned.prior_words = prior.words + ".";
  learned.posterior = curve_of(answer.at, answer.offset_deg, sign);
  learned.slope_deg_per_unit = slope_of(answer, answer.offset_deg, sign);
  learned.straight_at = crossing_of(answer);
  learned.data = points_on_curve(told, quantity, vertical);
  if (present_.setup && answer.told) {
    Regression before = std::move(prior.regression);
    before.measured.clear();
    before.offset_deg.resize(0);
    before.u_deg.resize(0);
    before.shared_deg.resize(0);
    const Eigen::MatrixXd paths = sampled(posterior_of(before), kPaths, options_.seed);
    learned.prior = curve_of(answer.at, paths, sign);
    learned.prior_slope_deg_per_unit = slope_of(answer, paths, sign);
  }
  return answer;
}

Regression Learner::told_and_wanted(const Answer& answer, Quantity quantity, bool vertical) const {
  const SetupFacts& latest = setups_[latest_].facts;
  const double sign = sign_of(vertical);
  const auto n = static_cast<Eigen::Index>(used_.size());
  Regression regression;
  regression.offset_deg.resize(n);
  regression.u_deg.resize(n);
  regression.shared_deg.resize(n);
  const std::vector<int> shafts = shafts_of(setups_);
  const auto group_of = [&](std::size_t i) {
    return fmt::format("{}|{}", rest_of(setups_[i].facts), shafts[i]);
  };
  std::vector<std::string> groups{group_of(latest_)};
  for (std::size_t k = 0; k < used_.size(); ++k) {
    const SetupFacts& facts = setups_[used_[k]].facts;
    const OffsetSummary& offset = offset_of(used_[k], vertical);
    const auto row = static_cast<Eigen::Index>(k);
    regression.offset_deg(row) = sign * offset.mean_deg;
    const double whole = offset.u95_deg / kSigmasPerU95;
    const double shared =
        std::hypot(offset.elsewhere_u95_deg, std::sqrt(kCantBetweenSetups) * offset.cant_u95_deg) /
        kSigmasPerU95;
    regression.shared_deg(row) = sign * shared;
    regression.u_deg(row) =
        std::hypot(std::sqrt(std::max(whole * whole - shared * shared, 0.0)), kSetupNoise_deg);
    // Alike by their facts and yet apart by more than chance: none of them is known as well as it
    // claims.
    if (const auto alike = pooled(setups_, facts, vertical); alike && disagree(*alike)) {
      regression.u_deg(row) *= alike->birge_ratio;
    }
    Place place;
    for (std::size_t q = 0; q < kQuantities; ++q) {
      const auto each = static_cast<Quantity>(q);
      const auto value = value_of(each, facts);
      const auto now = value_of(each, latest);
      place.at[q] = value && now ? (*value - *now) / usual_step(each) : 0.0;
    }
    const std::string rest = group_of(used_[k]);
    const auto known = std::find(groups.begin(), groups.end(), rest);
    place.group = static_cast<int>(known - groups.begin());
    if (known == groups.end()) {
      groups.push_back(rest);
    }
    regression.measured.push_back(place);
  }
  for (const double value : answer.at) {
    Place place;
    place.at[static_cast<std::size_t>(quantity)] =
        (value - answer.at[answer.here]) / usual_step(quantity);
    regression.wanted.push_back(place);
  }
  return regression;
}

Learner::Prior Learner::prior_of(const Regression& told, const Answer& answer, Quantity quantity,
                                 bool vertical) {
  Prior practice{by_practice(told, vertical), {}, {}};
  practice.posterior = posterior_of(practice.regression);
  practice.words =
      present_.setup ? "" : "Prior: slopes of common practice, wide, since the arrow model lacks ";
  for (std::size_t i = 0; i < present_.missing.size(); ++i) {
    practice.words += fmt::format("{}{}", i == 0 ? "" : ", ", present_.missing[i]);
  }
  const bool all_modelled =
      std::all_of(used_models_.begin(), used_models_.end(),
                  [](const std::optional<arrow::Setup>& setup) { return setup.has_value(); });
  if (!present_.setup || !all_modelled || !answer.told) {
    return practice;
  }
  Prior modelled{by_model(told, answer, quantity, vertical), {}, {}};
  modelled.posterior = posterior_of(modelled.regression);
  if (practice.posterior.log_evidence - modelled.posterior.log_evidence > kModelRefuted) {
    practice.words =
        "Prior: slopes of common practice. The shots do not fit the arrow model of the set-up "
        "as it was told; check its figures";
    return practice;
  }
  modelled.words = fmt::format(
      "Prior: the arrow model of this set-up, {} draws of what no archer measures, and what "
      "the model may miss",
      modelled.regression.model_wanted.rows());
  for (std::size_t i = 0; i < present_.assumed.size(); ++i) {
    modelled.words += fmt::format("{}{}", i == 0 ? "; assumed: " : ", ", present_.assumed[i]);
  }
  return modelled;
}

Regression Learner::by_model(Regression regression, const Answer& answer, Quantity quantity,
                             bool vertical) {
  BowModel& model = *models_[vertical ? 1 : 0];
  const double sign = sign_of(vertical);
  regression.discrepancy = model_discrepancy(vertical);
  // Set-ups that lie on the axis are read off its spline; only the others cost shots of their own.
  std::vector<double> along = answer.at;
  std::vector<std::optional<std::size_t>> on_axis(used_.size());
  for (std::size_t k = 0; k < used_.size(); ++k) {
    const double value = value_in(*used_models_[k], quantity);
    if (value >= answer.at.front() && value <= answer.at.back() &&
        model.alike(with(*used_models_[k], quantity, answer.at[answer.here]), *present_.setup)) {
      on_axis[k] = along.size();
      along.push_back(value);
    }
  }
  const Eigen::MatrixXd model_along = sign * model.along(*present_.setup, quantity, along);
  regression.model_wanted = model_along.leftCols(static_cast<Eigen::Index>(answer.at.size()));
  regression.model_measured.resize(regression.model_wanted.rows(),
                                   static_cast<Eigen::Index>(used_.size()));
  for (std::size_t k = 0; k < used_.size(); ++k) {
    const auto column = static_cast<Eigen::Index>(k);
    if (on_axis[k]) {
      regression.model_measured.col(column) =
          model_along.col(static_cast<Eigen::Index>(*on_axis[k]));
    } else {
      regression.model_measured.col(column) = sign * model.offsets(*used_models_[k]);
    }
  }
  return regression;
}

std::vector<Learned::Point> Learner::points_on_curve(const Regression& told, Quantity quantity,
                                                     bool vertical) const {
  std::vector<Learned::Point> points;
  for (std::size_t k = 0; k < used_.size(); ++k) {
    const SetupView& setup = setups_[used_[k]];
    const auto value = value_of(quantity, setup.facts);
    // Points that differ in more than this quantity would not lie on its curve.
    bool alone = told.measured[k].group == 0 && value.has_value();
    for (std::size_t q = 0; q < kQuantities; ++q) {
      // Up and down answers to the nocking point and to little else; sideways not to it.
      const bool matters = static_cast<Quantity>(q) != quantity && !vertical &&
                           static_cast<Quantity>(q) != Quantity::nocking_point;
      alone = alone && (!matters || std::abs(told.measured[k].at[q]) < 1e-3);
    }
    if (alone) {
      const OffsetSummary& offset = offset_of(used_[k], vertical);
      points.push_back({setup.judgement.name, *value, {offset.mean_deg, offset.u95_deg}});
    }
  }
  return points;
}

}  // namespace nocktrail::tune
