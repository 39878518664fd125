// The statistics of a handful of shots. Standard uncertainties (one sigma) throughout unless a
// name says u95.
#pragma once

#include <limits>
#include <span>
#include <vector>

namespace nocktrail::tune {

inline constexpr double kSigmasPerU95 = 1.959964;                          // of a normal
inline constexpr double kKnown = std::numeric_limits<double>::infinity();  // degrees of freedom

// Two-sided Student factor: P(|t| <= factor) = coverage. `freedom` need not be whole; kKnown gives
// the normal's. JCGM 100:2008, G.3.
double student_factor(double freedom, double coverage = 0.95);

// Independent contributions to one uncertainty: root of the sum of squares (JCGM 100:2008, 5.1.2)
// and effective degrees of freedom by Welch and Satterthwaite (G.4.1).
struct Contribution {
  double u = 0.0;
  double freedom = kKnown;
};
Contribution combined(std::span<const Contribution> parts);

// Between-shot variance by which sum(r_i^2 (x_i - m)^2 / (u_i^2 + variance)) meets its expectation
// sum(r_i) - 1, m the weighted mean; never below zero. With all r_i = 1 this is the estimator of
// R. C. Paule and J. Mandel, J. Res. NBS 87 (1982) 377-385. The r_i are robust weights in 0..1.
double paule_mandel(std::span<const double> values, std::span<const double> u,
                    std::span<const double> robust_weights = {});

// What is known of the scatter from elsewhere: the archer's other set-ups, or common practice
// (a pooled estimate of variance, JCGM 100:2008, 4.2.4).
struct ScatterPrior {
  double sd = 0.0;
  double freedom = 0.0;  // 0: nothing is known
};

struct RobustMean {
  double mean = 0.0;
  double u = 0.0;                // of the mean, standard, with what the errors share
  double lasting_u = 0.0;        // of that, what the errors share: no shot takes it away
  double elsewhere_u = 0.0;      // of that, what they share with shots from another place
  double freedom = 0.0;          // effective
  double scatter = 0.0;          // shot to shot, measurement taken out, from these shots alone
  std::vector<double> weights;   // Huber's, 1 for a shot in line with the others
  std::vector<double> distance;  // of each shot from the middle, in robust sigmas

  double u95() const { return student_factor(freedom) * u; }
};

// Of an even number the mean of the two middle ones (nocktrail::upper_median takes the upper); of
// no values it is undefined.
double median_of(std::vector<double> values);

// Mean of shots that scatter by more than their measurement: Huber's weights (tuned so that clean
// shots are hardly touched) around median and MAD, the between-shot variance by Paule and Mandel,
// pooled with `prior`. Empty input gives zeros with freedom 0. With one shot the interval rests on
// `prior` alone. `shared`, of each u, is the part that is the same error in all of them: it tells
// nothing of the scatter, moves all values alike, and stays in the mean whole. Empty: none is.
// Where values come from different `places` (a number each; empty: all from one), it is the same
// error in those of one place, and only kSharedElsewhere of its variance in all (so places with
// several shots each add a scatter that is none). As many as values.
RobustMean robust_mean(std::span<const double> values, std::span<const double> u,
                       const ScatterPrior& prior, std::span<const double> shared = {},
                       std::span<const int> places = {});

// Of the variance that shots from one place share, what those of the same phone and arrow share
// from elsewhere, too (docs/tuning.md has the measurement: half sideways, less up and down).
inline constexpr double kSharedElsewhere = 0.5;

// |distance| from which a shot counts as an outlier (the modified z-score of B. Iglewicz and
// D. Hoaglin, How to Detect and Handle Outliers, 1993; from memory).
inline constexpr double kOutlierDistance = 3.5;

// Fewest shots n >= 2 whose mean has t(n - 1) sd / sqrt(n) <= margin; `most` + 1 when that many do
// not do.
int shots_needed(double sd, double margin, int most);

}  // namespace nocktrail::tune
