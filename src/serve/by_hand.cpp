#include "by_hand.hpp"

#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>
#include <opencv2/imgproc.hpp>
#include <optional>
#include <utility>

#include "asked.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/media/image_file.hpp"
#include "nocktrail/picture/frames.hpp"
#include "nocktrail/report/marks.hpp"
#include "nocktrail/rules/before_change.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/facts_file.hpp"
#include "refused.hpp"
#include "view.hpp"

namespace nocktrail::serve {
namespace {

namespace fs = std::filesystem;
using nlohmann::json;

// What a picture may cost: a phone's screen has some 1200 px across, and one of four million
// takes a twentieth of a second.
constexpr long kLeastPart_px = 16;
constexpr long kLeastWidth_px = 48;
constexpr long kMostWidth_px = 1600;
constexpr long kMostPixels = 4'000'000;
constexpr int kQuality = 85;
// Looked at beyond what was seen or marked of the arrow, s and share of its extent in the picture.
constexpr double kBefore_s = 0.02;
constexpr double kAfter_s = 0.06;
constexpr double kAround = 0.35;
constexpr double kLeastExtent_px = 240.0;

constexpr const char* kGone = "the clip cannot be read any more";

const tune::ClipRecord& clip_of(const Snapshot& snapshot, const std::string& setup,
                                const std::string& clip) {
  const tune::ClipRecord* found = find_clip(snapshot, setup, clip);
  if (found == nullptr) {
    throw Refused(404, "there is no such clip in the session now");
  }
  if (found->reading.status == ClipStatus::error || found->sha256.empty()) {
    throw Refused(400, "this file cannot be read as video, so nothing can be marked in it");
  }
  return *found;
}

// Times as the reading has them.
media::ClipInfo info_of(const tune::ClipRecord& clip) {
  media::OpenOptions options;
  if (clip.reading.clip.capture_fps_source == RateSource::user) {
    options.capture_fps = clip.reading.clip.capture_fps;
  }
  try {
    return media::Clip::open(clip.reading.clip.path, options).info();
  } catch (const BadInput&) {
    throw Refused(404, kGone);
  }
}

// The frames about the flight, and where in the picture it was; nothing where none was seen.
json stretch_of(const tune::ClipRecord& clip, const media::ClipInfo& info) {
  const std::vector<double>& t_s = info.frame_t_s;
  std::optional<double> from_s;
  std::optional<double> to_s;
  const auto take = [&](double t) {
    from_s = std::min(t, from_s.value_or(t));
    to_s = std::max(t, to_s.value_or(t));
  };
  std::vector<Eigen::Vector2d> places;
  for (const Shot& shot : clip.reading.shots) {
    for (const FrameObservation& frame : shot.frames) {
      for (const std::optional<Eigen::Vector2d>& end : {frame.nock_px, frame.tip_px}) {
        if (end && end->allFinite()) {
          places.push_back(*end);
          take(frame.t_s);
        }
      }
    }
    for (const std::optional<double>& instant : {shot.exit_s, shot.loose_s}) {
      if (instant && std::isfinite(*instant)) {
        take(*instant);
      }
    }
    if (from_s) {
      break;  // one shot at a time
    }
  }
  if (!from_s || t_s.empty()) {
    return nullptr;
  }
  const auto index_at = [&](double t) {
    const auto at = std::lower_bound(t_s.begin(), t_s.end(), t) - t_s.begin();
    return std::clamp<long>(at, 0, static_cast<long>(t_s.size()) - 1);
  };
  json stretch = {{"from", index_at(*from_s - kBefore_s)},
                  {"to", index_at(*to_s + kAfter_s)},
                  {"begin", index_at(*from_s)},
                  {"window", nullptr}};
  if (!places.empty()) {
    Eigen::Vector2d low = places.front();
    Eigen::Vector2d high = low;
    for (const Eigen::Vector2d& place : places) {
      low = low.cwiseMin(place);
      high = high.cwiseMax(place);
    }
    const Eigen::Vector2d middle = (low + high) / 2.0;
    const Eigen::Vector2d half = ((0.5 + kAround) * (high - low)).cwiseMax(kLeastExtent_px / 2.0);
    stretch["window"] = {middle.x() - half.x(), middle.y() - half.y(), 2.0 * half.x(),
                         2.0 * half.y()};
  }
  return stretch;
}

// In the schema of files of marks.
json marks_json(const Marks& marks) {
  return json::parse(report::marks_text(marks));
}

// What was sent as marks of that clip. Throws Refused.
Marks marks_of(const json& asked, const tune::ClipRecord& clip) {
  const auto sent = asked.find("marks");
  if (sent == asked.end() || !sent->is_object()) {
    throw Refused(400, kNotUnderstood);
  }
  try {
    Marks marks = report::marks_from_json(dumped(*sent), "marks");
    if (marks.clip_sha256.empty()) {
      throw Refused(400, "marks: they do not say of which content they are (clip_sha256)");
    }
    session::check_marks_of(clip.reading.clip.path, clip.sha256, marks);
    return marks;
  } catch (const UnreadableClip&) {
    throw Refused(404, kGone);
  }
}

json pair(const Eigen::Vector2d& at_px) {
  return {at_px.x(), at_px.y()};
}

// The flight that the marks make, frame by frame.
json flight_json(const Reading& reading) {
  json frames = json::array();
  for (const Shot& shot : reading.shots) {
    for (const FittedFrame& frame : shot.fitted) {
      if (frame.nock_px.allFinite() && frame.tip_px.allFinite()) {
        frames.push_back({{"index", frame.index},
                          {"nock_px", pair(frame.nock_px)},
                          {"tip_px", pair(frame.tip_px)}});
      }
    }
  }
  return frames;
}

// A part of a frame in colour, in that size. Chroma has half the size each way, so the part is
// taken from even places on. What is made smaller is made so first: colour is the dear step.
cv::Mat part_of(const media::Frame& frame, const cv::Rect& part, const cv::Size& size) {
  const cv::Rect even(part.x & ~1, part.y & ~1, part.width + (part.x & 1),
                      part.height + (part.y & 1));
  const cv::Rect half =
      cv::Rect(even.x / 2, even.y / 2, (even.width + 1) / 2, (even.height + 1) / 2) &
      cv::Rect(0, 0, frame.chroma_u.cols, frame.chroma_u.rows);
  const bool smaller = size.width < part.width;
  media::Frame cut;
  const auto take = [&](const cv::Mat& from, cv::Mat& to) {
    if (smaller) {
      cv::resize(from, to, size, 0.0, 0.0, cv::INTER_AREA);
    } else {
      to = from;
    }
  };
  take(frame.luma(smaller ? part : even), cut.luma);
  if (!half.empty()) {
    take(frame.chroma_u(half), cut.chroma_u);
    take(frame.chroma_v(half), cut.chroma_v);
  }
  cv::Mat colour = picture::bgr_from_frame(cut);
  if (smaller) {
    return colour;
  }
  cv::Mat picture;
  cv::resize(colour(cv::Rect(part.x - even.x, part.y - even.y, part.width, part.height)), picture,
             size, 0.0, 0.0, cv::INTER_CUBIC);
  return picture;
}

}  // namespace

ByHand::ByHand(fs::path folder, const desk::OutputSettings& output, const Board& board)
    : folder_(std::move(folder)), kept_(fs::path()), board_(board) {
  options_.results = output.results;
  options_.archer = session::default_archer_files();
  options_.dead_band_deg = output.dead_band_deg;
  kept_ = session::KeptMarks(session::marks_folder(folder_, options_));
}

Answer ByHand::about(const Target& target) const {
  const Snapshot snapshot = board_.snapshot();
  const std::string setup = target.value("setup");
  const tune::ClipRecord& clip = clip_of(snapshot, setup, target.value("clip"));
  const media::ClipInfo info = info_of(clip);
  const session::KeptMarks::Found kept = kept_.of(clip.sha256);
  json view = clip_view(snapshot, setup, clip);
  view["sha256"] = clip.sha256;
  view["width"] = info.width;
  view["height"] = info.height;
  view["frames"] = info.frame_t_s.size();
  view["capture_fps"] = info.capture_fps;
  view["stretch"] = stretch_of(clip, info);
  view["marks"] = kept.marks ? marks_json(*kept.marks) : json(nullptr);
  view["version"] = kept.version;
  view["fault"] = kept.fault.empty() ? json(nullptr) : json(rules::printable(kept.fault));
  view["frames_for_flight"] = kFramesForFlight;
  view["frames_for_reading"] = kFramesForReading;
  view["most_frames"] = kMostMarkedFrames;
  view["most_limb_points"] = kMostLimbPoints;
  return {200, "application/json", dumped(view), false};
}

Answer ByHand::frame(const Target& target) {
  const Snapshot snapshot = board_.snapshot();
  const tune::ClipRecord& clip = clip_of(snapshot, target.value("setup"), target.value("clip"));
  constexpr long kMostSide_px = 16384;
  const long index = target.number("index", 0, 100'000'000);
  const cv::Rect part(static_cast<int>(target.number("x", 0, kMostSide_px)),
                      static_cast<int>(target.number("y", 0, kMostSide_px)),
                      static_cast<int>(target.number("w", kLeastPart_px, kMostSide_px)),
                      static_cast<int>(target.number("h", kLeastPart_px, kMostSide_px)));
  const long width = target.number("width", kLeastWidth_px, kMostWidth_px);
  const long height =
      std::max(1L, std::lround(static_cast<double>(width) * part.height / part.width));
  if (width * height > kMostPixels) {
    throw Refused(400, "so large a picture is not made");
  }
  media::Frame frame;
  try {
    frame = frames_.at(clip.reading.clip.path, index, stop_);
  } catch (const BadInput&) {
    throw Refused(404, kGone);
  }
  if ((part & cv::Rect(0, 0, frame.luma.cols, frame.luma.rows)) != part) {
    throw Refused(400, "this part lies outside the picture");
  }
  const cv::Size size(static_cast<int>(width), static_cast<int>(height));
  return {200, "image/jpeg", media::jpeg_bytes(part_of(frame, part, size), kQuality), false};
}

Answer ByHand::try_marks(const std::string& body) const {
  const json asked = parsed(body);
  const std::string setup = text_of(asked, "setup");
  const Snapshot snapshot = board_.snapshot();
  const tune::ClipRecord& clip = clip_of(snapshot, setup, text_of(asked, "clip"));
  const Marks marks = marks_of(asked, clip);
  try {
    session::IntoSession into(folder_, options_);
    const tune::ClipRecord made =
        into.try_marks(clip.reading.clip.path, marks,
                       [this](const std::string&, double) { return !stop_.load(); });
    const bool enough = frames_with_both(marks) >= kFramesForReading;
    const json answer = {{"reading", clip_view(snapshot, setup, made)},
                         {"flight", flight_json(made.reading)},
                         {"missing", enough ? json(nullptr) : json(made.reading.reason)}};
    return {200, "application/json", dumped(answer), false};
  } catch (const Interrupted&) {
    throw Refused(503, "the program is being stopped");
  }
}

namespace {

// Whether one of its shots that count is by itself a reason not to shoot the arrow again.
bool forbids_by_itself(const Snapshot& snapshot, const std::string& setup,
                       const tune::ClipRecord& clip) {
  if (!clip.dropped.empty()) {
    return false;
  }
  const std::vector<tune::SetupRecord>& setups = snapshot.published->record.setups;
  const bool fletched = std::any_of(setups.begin(), setups.end(), [&](const auto& one) {
    return rules::printable(one.name) == setup &&
           one.facts.arrow.fletching == tune::Fletching::fletched;
  });
  int number = 0;
  return std::any_of(clip.reading.shots.begin(), clip.reading.shots.end(), [&](const Shot& shot) {
    if (clip.dropped_shots.count(++number) > 0) {
      return false;
    }
    if (rules::stands_across(shot)) {
      return true;
    }
    const auto lateral = shot.in_bow ? shot.in_bow->nock_right_deg : shot.nock_right_deg;
    const auto vertical = shot.in_bow ? shot.in_bow->nock_high_deg : shot.nock_high_deg;
    return shot.status == ShotStatus::measured &&
           rules::too_far(lateral ? lateral->value : 0.0, vertical ? vertical->value : 0.0,
                          fletched);
  });
}

}  // namespace

Answer ByHand::keep(const std::string& body) const {
  const json asked = parsed(body);
  const Snapshot snapshot = board_.snapshot();
  const tune::ClipRecord& clip = clip_of(snapshot, text_of(asked, "setup"), text_of(asked, "clip"));
  std::optional<Marks> marks;
  if (const auto sent = asked.find("marks"); sent == asked.end() || !sent->is_null()) {
    marks = marks_of(asked, clip);
  }
  // Marks take the place of what the program read. Those that do not count must not lift what that
  // forbids.
  if (marks && !marks->counts && forbids_by_itself(snapshot, text_of(asked, "setup"), clip)) {
    throw Refused(
        400,
        "what the program read of this clip forbids to shoot this arrow again; marks that "
        "do not count would hide that. Say that they count, or, if the program read "
        "something else than the arrow, leave the shot out with that reason");
  }
  if (!kept_.keep(clip.sha256, marks, text_of(asked, "was"))) {
    throw Refused(409, "somebody else changed the marks of this clip just now; look at them again");
  }
  return {200, "application/json", dumped({{"version", kept_.of(clip.sha256).version}}), false};
}

}  // namespace nocktrail::serve
