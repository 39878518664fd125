// Elastic modes of the arrow: a free-free Euler-Bernoulli beam with point masses at both ends
// (nock and point, no rotary inertia).
#pragma once

namespace clipmaker {

// Shape w(s) of mode 1 or 2, s in [0, 1] from nock to point, scaled so that w(0) = 1.
//   w = c1 (cos bs + cosh bs) + c2 sin bs + c3 sinh bs
// with w'' = 0 at both ends, EI w'''(0) = +omega^2 m0 w(0), EI w'''(L) = -omega^2 mL w(L).
// Exact eigenfunctions are orthogonal in mass to translation and rotation, so adding the mode to a
// rigid arrow moves neither its centre of mass nor its rigid axis.
class BeamMode {
 public:
  // Masses as ratios to the shaft's mass, both >= 0.
  BeamMode(double nock_ratio, double tip_ratio, int mode = 1);
  double beta_l() const { return beta_; }
  double shape(double s) const;
  // Centre of mass as a share of the length, from the nock.
  double centre_of_mass() const { return centre_of_mass_; }
  double nock_ratio() const { return nock_ratio_; }
  double tip_ratio() const { return tip_ratio_; }

 private:
  double nock_ratio_;
  double tip_ratio_;
  double beta_ = 0.0;
  double c1_ = 0.0;
  double c2_ = 0.0;
  double c3_ = 0.0;
  double centre_of_mass_ = 0.5;
};

}  // namespace clipmaker
