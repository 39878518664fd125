#include "nocktrail/tune/same_flight.hpp"

#include <fmt/format.h>

#include <Eigen/Core>
#include <algorithm>
#include <cmath>
#include <limits>

#include "nocktrail/rules/words.hpp"
#include "places.hpp"

namespace nocktrail::tune {
namespace {

// Of the longer side of the picture, in four of five places: near the bow the arrow crosses tens of
// pixels a frame, and another instant tells two shots apart; far from it another aim does. Copies
// that were sent on, cut or recoded lie 0 to 2.4 of 1920 px apart (14 pairs), those halved in size
// or recoded coarsely 5.0 and 5.5, shots of one archer from one stand 13 and more (30 pairs). From
// the side it crosses hundreds of pixels a frame at nearly one height.
constexpr double kShareOfPlaces = 0.8;
constexpr double kApartBehind = 3.0 / 1920.0;
constexpr double kApartSide = 1.0 / 1920.0;
// Levels of brightness, the largest of a backdrop's cells: copies 0 to 2, an archer who stands
// anew 30 and more.
constexpr double kOtherBackdrop = 8.0;
constexpr std::size_t kFewestFrames = 4;
constexpr double kShareOfFrames = 0.6;

struct Sighted {
  double t_s = 0.0;
  Eigen::Vector2d nock;  // in longer sides of the picture
  Eigen::Vector2d tip;
};

std::vector<Sighted> sighted(const Shot& shot, double longer_px) {
  std::vector<Sighted> all;
  for (const FrameObservation& frame : shot.frames) {
    if (frame.nock_px && frame.tip_px) {
      all.push_back({frame.t_s, *frame.nock_px / longer_px, *frame.tip_px / longer_px});
    }
  }
  return all;
}

double frame_step_s(const std::vector<Sighted>& frames) {
  double step_s = std::numeric_limits<double>::infinity();
  for (std::size_t i = 1; i < frames.size(); ++i) {
    step_s = std::min(step_s, frames[i].t_s - frames[i - 1].t_s);
  }
  return step_s;
}

// How far apart the arrow lies in the frames that fall together when `b` is `later_s` after `a`;
// infinite where too few do.
double apart(const std::vector<Sighted>& a, const std::vector<Sighted>& b, double later_s,
             double step_s) {
  std::vector<double> distances;
  std::size_t frames = 0;
  std::size_t at = 0;
  for (const Sighted& of_a : a) {
    const double t_s = of_a.t_s + later_s;
    while (at < b.size() && b[at].t_s < t_s - step_s / 4.0) {
      ++at;
    }
    if (at < b.size() && b[at].t_s <= t_s + step_s / 4.0) {
      distances.push_back((of_a.nock - b[at].nock).norm());
      distances.push_back((of_a.tip - b[at].tip).norm());
      ++frames;
    }
  }
  const auto enough = static_cast<std::size_t>(
      std::ceil(kShareOfFrames * static_cast<double>(std::min(a.size(), b.size()))));
  if (frames < std::max(kFewestFrames, enough)) {
    return std::numeric_limits<double>::infinity();
  }
  const auto most = distances.begin() + static_cast<std::ptrdiff_t>(
                                            kShareOfPlaces * static_cast<double>(distances.size()));
  std::nth_element(distances.begin(), most, distances.end());
  return *most;
}

bool other_backdrop(const Shot& a, const Shot& b) {
  if (!a.filmed_from || !b.filmed_from || a.filmed_from->backdrop.empty() ||
      a.filmed_from->backdrop.size() != b.filmed_from->backdrop.size()) {
    return false;
  }
  // Recoding may make all of it brighter.
  return (from_its_mean(a.filmed_from->backdrop) - from_its_mean(b.filmed_from->backdrop))
             .abs()
             .maxCoeff() > kOtherBackdrop;
}

struct Counted {
  const SetupRecord* setup = nullptr;
  ClipRecord* clip = nullptr;
  const Shot* shot = nullptr;
  int number = 0;
  bool left_out = false;  // by the archer

  double longer_px() const { return std::max(clip->reading.clip.width, clip->reading.clip.height); }
  std::string name() const {
    const std::string file = setup->name == "." ? clip->file : setup->name + "/" + clip->file;
    return rules::printable(number == 1 ? file : fmt::format("{}#{}", file, number));
  }
};

std::vector<Counted> measured_shots(SessionRecord& session) {
  std::vector<Counted> all;
  for (SetupRecord& setup : session.setups) {
    for (ClipRecord& clip : setup.clips) {
      clip.same_as.clear();
      int number = 0;
      for (const Shot& shot : clip.reading.shots) {
        ++number;
        // Marks that do not count yet are not the archer's word against the flight.
        const bool waits = shot.by == ReadBy::hand && !clip.dropped.empty();
        if (shot.status == ShotStatus::measured && !shot.frames.empty() && !waits) {
          all.push_back({&setup, &clip, &shot, number,
                         !clip.dropped.empty() || clip.dropped_shots.count(number) > 0});
        }
      }
    }
  }
  return all;
}

double width_deg(const Shot& shot) {
  return shot.view == View::behind && shot.nock_right_deg ? shot.nock_right_deg->u95
         : shot.nock_high_deg                             ? shot.nock_high_deg->u95
                                                          : std::numeric_limits<double>::infinity();
}

}  // namespace

bool same_flight(const Shot& a, double longer_px_a, const Shot& b, double longer_px_b) {
  if (a.view != b.view || !(longer_px_a > 0.0) || !(longer_px_b > 0.0) || other_backdrop(a, b)) {
    return false;
  }
  const std::vector<Sighted> in_a = sighted(a, longer_px_a);
  const std::vector<Sighted> in_b = sighted(b, longer_px_b);
  const double step_s = std::min(frame_step_s(in_a), frame_step_s(in_b));
  const double most = a.view == View::side ? kApartSide : kApartBehind;
  for (const Sighted& of_a : in_a) {
    for (const Sighted& of_b : in_b) {
      // Of one flight some frame lies on its like with both ends: few others are looked at at all.
      if ((of_a.nock - of_b.nock).norm() <= most && (of_a.tip - of_b.tip).norm() <= most &&
          apart(in_a, in_b, of_b.t_s - of_a.t_s, step_s) <= most) {
        return true;
      }
    }
  }
  return false;
}

std::vector<std::string> count_each_flight_once(SessionRecord& session) {
  std::vector<Counted> all = measured_shots(session);
  std::stable_sort(all.begin(), all.end(), [](const Counted& a, const Counted& b) {
    return a.left_out != b.left_out ? a.left_out : width_deg(*a.shot) < width_deg(*b.shot);
  });
  std::vector<std::string> lines;
  std::vector<const Counted*> kept;
  for (const Counted& one : all) {
    const auto first = std::find_if(kept.begin(), kept.end(), [&](const Counted* other) {
      // Two shots of one clip are two shots.
      return other->clip != one.clip &&
             same_flight(*other->shot, other->longer_px(), *one.shot, one.longer_px());
    });
    if (first == kept.end()) {
      kept.push_back(&one);
      continue;
    }
    one.clip->same_as[one.number] = fmt::format("shows the same flight as {}{}", (*first)->name(),
                                                (*first)->left_out ? ", which is left out" : "");
    if (!one.left_out) {
      lines.push_back(fmt::format("{}: shows the same flight as {}, {}", one.name(),
                                  (*first)->name(),
                                  (*first)->left_out ? "which is left out, and is left out as well"
                                                     : "and is counted once, there"));
    }
  }
  return lines;
}

}  // namespace nocktrail::tune
