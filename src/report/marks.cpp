#include "nocktrail/report/marks.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <initializer_list>
#include <nlohmann/json.hpp>

#include "nocktrail/error.hpp"
#include "nocktrail/report/json_whole.hpp"
#include "nocktrail/units/hand_written.hpp"

namespace nocktrail::report {
namespace {

using Json = nlohmann::json;

constexpr std::string_view kSchema = "nocktrail.marks/1";
constexpr std::size_t kSha256Digits = 64;

// Beyond any picture: what is larger is no place in one.
constexpr double kFarthest_px = 1e5;

[[noreturn]] void slip(const std::string& where, std::string_view what) {
  throw BadInput(where.empty() ? std::string(what) : fmt::format("{}: {}", where, what));
}

void check_keys(const Json& object, std::initializer_list<std::string_view> known,
                const std::string& where) {
  if (!object.is_object()) {
    slip(where, "is no object with named values");
  }
  for (const auto& item : object.items()) {
    if (std::find(known.begin(), known.end(), item.key()) == known.end()) {
      slip(where, fmt::format("\"{}\" is not one of the keys of {}",
                              units::quoted_briefly(item.key()), kSchema));
    }
  }
}

const Json& value_of(const Json& object, const char* key) {
  static const Json none;
  const auto found = object.find(key);
  return found == object.end() ? none : *found;
}

long frame_number(const Json& value, const std::string& where) {
  long number = -1;
  try {
    number = whole_number<long>(value);
  } catch (const BadInput&) {
    number = -1;  // said below, with its place
  }
  if (number < 0) {
    slip(where, "is no frame's number (0, 1, 2, ...)");
  }
  return number;
}

std::optional<Eigen::Vector2d> place(const Json& value, const std::string& where) {
  if (value.is_null()) {
    return std::nullopt;
  }
  if (!value.is_array() || value.size() != 2 || !value[0].is_number() || !value[1].is_number()) {
    slip(where, "is neither null nor a place [x, y] in pixels");
  }
  const Eigen::Vector2d at_px(value[0].get<double>(), value[1].get<double>());
  if (!at_px.allFinite() || at_px.cwiseAbs().maxCoeff() > kFarthest_px) {
    slip(where, "is no place in a picture");
  }
  return at_px;
}

LimbMark limb_of(const Json& value) {
  check_keys(value, {"index", "points_px"}, "limb");
  LimbMark limb;
  limb.index = frame_number(value_of(value, "index"), "limb.index");
  const Json& points = value_of(value, "points_px");
  if (!points.is_array() || points.size() < kLeastLimbPoints || points.size() > kMostLimbPoints) {
    slip("limb.points_px",
         fmt::format("is no list of {} to {} places", kLeastLimbPoints, kMostLimbPoints));
  }
  for (std::size_t i = 0; i < points.size(); ++i) {
    const std::string where = fmt::format("limb.points_px[{}]", i);
    const std::optional<Eigen::Vector2d> at_px = place(points[i], where);
    if (!at_px) {
      slip(where, "is no place [x, y] in pixels");
    }
    limb.points_px.push_back(*at_px);
  }
  return limb;
}

Marks marks_of(const Json& document) {
  check_keys(document, {"schema", "clip_sha256", "frames", "exit_index", "limb", "counts"}, "");
  if (const Json& schema = value_of(document, "schema"); schema != kSchema) {
    slip("schema", fmt::format("is not \"{}\"", kSchema));
  }
  Marks marks;
  if (const Json& hash = value_of(document, "clip_sha256"); !hash.is_null()) {
    const std::string digits = hash.is_string() ? hash.get<std::string>() : std::string();
    if (digits.size() != kSha256Digits ||
        digits.find_first_not_of("0123456789abcdef") != std::string::npos) {
      slip("clip_sha256", "is neither null nor 64 digits 0-9 a-f");
    }
    marks.clip_sha256 = digits;
  }
  const Json& frames = value_of(document, "frames");
  if (!frames.is_array()) {
    slip("frames", "is no list");
  }
  for (std::size_t i = 0; i < frames.size(); ++i) {
    const std::string where = fmt::format("frames[{}]", i);
    check_keys(frames[i], {"index", "nock_px", "tip_px"}, where);
    marks.frames.push_back({frame_number(value_of(frames[i], "index"), where + ".index"),
                            place(value_of(frames[i], "nock_px"), where + ".nock_px"),
                            place(value_of(frames[i], "tip_px"), where + ".tip_px")});
  }
  std::sort(marks.frames.begin(), marks.frames.end(),
            [](const FrameMark& a, const FrameMark& b) { return a.index < b.index; });
  const auto twice =
      std::adjacent_find(marks.frames.begin(), marks.frames.end(),
                         [](const FrameMark& a, const FrameMark& b) { return a.index == b.index; });
  if (twice != marks.frames.end()) {
    slip("frames", fmt::format("frame {} is there twice", twice->index));
  }
  if (const Json& exit = value_of(document, "exit_index"); !exit.is_null()) {
    marks.exit_index = frame_number(exit, "exit_index");
  }
  if (const Json& limb = value_of(document, "limb"); !limb.is_null()) {
    marks.limb = limb_of(limb);
  }
  if (const Json& counts = value_of(document, "counts"); !counts.is_null()) {
    if (!counts.is_boolean()) {
      slip("counts", "is neither true nor false");
    }
    marks.counts = counts.get<bool>();
  }
  return marks;
}

nlohmann::ordered_json pair_of(const std::optional<Eigen::Vector2d>& at_px) {
  return at_px ? nlohmann::ordered_json{at_px->x(), at_px->y()} : nlohmann::ordered_json(nullptr);
}

}  // namespace

std::string marks_text(const Marks& marks) {
  using Ordered = nlohmann::ordered_json;
  Ordered frames = Ordered::array();
  for (const FrameMark& mark : marks.frames) {
    frames.push_back({{"index", mark.index},
                      {"nock_px", pair_of(mark.nock_px)},
                      {"tip_px", pair_of(mark.tip_px)}});
  }
  Ordered limb = nullptr;
  if (marks.limb) {
    Ordered points = Ordered::array();
    for (const Eigen::Vector2d& point : marks.limb->points_px) {
      points.push_back(pair_of(point));
    }
    limb = {{"index", marks.limb->index}, {"points_px", points}};
  }
  const Ordered document{
      {"schema", kSchema},
      {"clip_sha256", marks.clip_sha256.empty() ? Ordered(nullptr) : Ordered(marks.clip_sha256)},
      {"frames", frames},
      {"exit_index", marks.exit_index ? Ordered(*marks.exit_index) : Ordered(nullptr)},
      {"limb", limb},
      {"counts", marks.counts}};
  return document.dump(2) + "\n";
}

Marks marks_from_json(std::string_view text, std::string_view source) {
  constexpr std::string_view kWhatNext = "give a file of marks as docs/measurement.md describes it";
  // Nothing here lies deeper than a place in a frame in the list.
  constexpr int kDeepest = 5;
  bool too_deep = false;
  try {
    const Json document = Json::parse(
        text,
        [&](int depth, Json::parse_event_t, Json&) { return !(too_deep |= depth > kDeepest); },
        false);
    if (document.is_discarded() || too_deep) {
      slip("", fmt::format("is not JSON of schema {}", kSchema));
    }
    return marks_of(document);
  } catch (const Json::exception&) {
    throw BadInput(fmt::format("{}: is not JSON of schema {}; {}", source, kSchema, kWhatNext));
  } catch (const BadInput& fault) {
    throw BadInput(fmt::format("{}: {}; {}", source, fault.what(), kWhatNext));
  }
}

Marks read_marks(const std::filesystem::path& path) {
  const std::string source = one_line(path.string());
  const std::optional<std::string> text = units::read_hand_written(path, source);
  if (!text) {
    throw BadInput(
        fmt::format("{}: there is no such file; give the file that the marks are in", source));
  }
  return marks_from_json(*text, source);
}

}  // namespace nocktrail::report
