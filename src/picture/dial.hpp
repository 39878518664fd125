// The offset as seen from behind the archer: where the nock stands about the point.
#pragma once

#include <optional>

#include "canvas.hpp"
#include "nocktrail/reading.hpp"

namespace nocktrail::picture {

struct DialContent {
  Measured nock_right_deg;
  Measured nock_high_deg;
  double correlation = 0.0;
  std::optional<double> cant_deg;
  double dead_band_deg = 0.5;
};

// Degrees at the dial's edge for this content, and between rings.
struct DialScale {
  double edge_deg = 3.0;
  double ring_deg = 1.0;
};
DialScale dial_scale(const DialContent& content);

// Centre: the nock straight behind the point. Out from it: degrees, right is right, up is high. The
// ellipse touches the 95 % interval of either offset; the square is the dead band, along the bow.
void draw_dial(Canvas& canvas, const Box& box, const DialContent& content);

}  // namespace nocktrail::picture
