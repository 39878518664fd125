#include "nocktrail/report/summary.hpp"

#include <doctest/doctest.h>

#include <sstream>
#include <string>
#include <vector>

#include "example_reading.hpp"
#include "nocktrail/report/lines.hpp"
#include "nocktrail/report/text.hpp"
#include "nocktrail/rules/safety.hpp"

using namespace nocktrail;
using namespace nocktrail::report;

namespace {

bool says(const std::string& text, const std::string& words) {
  return text.find(words) != std::string::npos;
}

std::size_t widest(const std::string& text) {
  std::istringstream in(text);
  std::size_t most = 0;
  for (std::string one; std::getline(in, one);) {
    most = std::max(most, columns_of(one));
  }
  return most;
}

std::vector<Reading> three() {
  Reading one = test::full_reading();
  one.clip.path = "a/one.mp4";
  Reading two = one;
  two.clip.path = "a/two.mp4";
  two.shots.push_back(two.shots[0]);
  two.shots[1].status = ShotStatus::refused;
  Reading none;
  none.clip.path = "b/one.mp4";
  none.status = ClipStatus::no_shot;
  return {one, two, none};
}

}  // namespace

TEST_CASE("unit: the summary has a row for each shot, and for a clip without one") {
  const std::string t = summary(three(), {});
  CHECK(says(t, "Summary: 2 shots measured, in 2 of 3 clips; offsets to the bow\n"));
  CHECK(says(t, "Clip             Sideways, deg"));
  CHECK(says(t, "a/one.mp4        left 2.55 ± 0.20"));  // two files have the name
  CHECK(says(t, "two.mp4, shot 1  left 2.55 ± 0.20"));
  CHECK(says(t, "two.mp4, shot 2  refused"));
  CHECK(says(t, "b/one.mp4        no shot found"));
  CHECK(widest(t) <= 80);
}

TEST_CASE("unit: offsets of two frames never share a column") {
  std::vector<Reading> readings = three();
  readings[0].shots[0].in_bow.reset();
  const std::string t = summary(readings, {});
  CHECK(says(t, "offsets as seen from behind, upright\n"));
  CHECK_FALSE(says(t, "left 2.55"));
  CHECK(says(t, "left 2.41 ± 0.18"));
}

TEST_CASE("unit: a shot from the side has its row, and does not turn the others") {
  std::vector<Reading> readings = three();
  Shot& shot = readings[1].shots[0];
  shot.view = View::side;
  shot.nock_right_deg.reset();
  shot.in_bow.reset();
  shot.nock_high_deg = Measured{0.42, 0.22};
  SummaryOptions wide;
  wide.width = 0;
  const std::string t = summary(readings, wide);
  CHECK(says(t, "2 shots measured, in 2 of 3 clips; offsets to the bow\n"));
  CHECK(says(t, "a/one.mp4        left 2.55 ± 0.20"));
  CHECK(says(t, "two.mp4, shot 1  from the side"));
  CHECK(says(t, "high 0.42 ± 0.22 to plumb"));
  readings.erase(readings.begin());
  CHECK(says(summary(readings, {}), "1 shot measured, in 1 of 2 clips\n"));
}

TEST_CASE("unit: what forbids to shoot is said before the table, once") {
  SummaryOptions options;
  options.stops = {"Stop. The arrow is too light.", "Stop. The arrow is too light."};
  const std::string t = summary(three(), options);
  const std::size_t at = t.find("Next step: Stop.");
  REQUIRE(at != std::string::npos);
  CHECK(at < t.find("Clip  "));
  CHECK(t.find("Next step", at + 1) == std::string::npos);
}

TEST_CASE("unit: a narrow terminal gets lines in place of columns, and loses no word") {
  SummaryOptions narrow;
  narrow.width = 40;
  const std::string t = summary(three(), narrow);
  CHECK(widest(t) <= 40);
  CHECK(says(t, "Clip: a/one.mp4; Sideways, deg: left"));
  CHECK(says(t, "Clip: b/one.mp4; Sideways, deg: no shot\n  found\n"));
}

TEST_CASE("unit: a caution is said once in a run") {
  std::set<std::string> said;
  TextOptions options;
  options.hand = Hand::right;
  options.width = 0;
  options.cautions_said = &said;
  Reading reading = test::full_reading();
  reading.shots[0].verdict.cautions = {rules::caution::kRange};
  CHECK(says(text(reading, options), "Caution: Nobody downrange"));
  CHECK_FALSE(says(text(reading, options), "Caution: Nobody downrange"));
  CHECK(says(text(reading, options), "Caution: the file was cut short"));  // of each such clip
  Reading odd = reading;  // of its own shot, however alike the words
  odd.shots[0].verdict.cautions = {"The cant told is not what the picture shows."};
  for (int clip = 0; clip < 2; ++clip) {
    CHECK(says(text(odd, options), "Caution: The cant told"));
  }
  Reading twice = reading;
  twice.shots.push_back(twice.shots[0]);
  options.cautions_said = nullptr;
  const std::string t = text(twice, options);
  const std::size_t at = t.find("Caution: Nobody downrange");
  REQUIRE(at != std::string::npos);
  CHECK(t.find("Caution: Nobody downrange", at + 1) == std::string::npos);
}

TEST_CASE("unit: lines are broken between words and keep their indentation") {
  CHECK(lines("ab cd ef\n  gh ij kl\n", 6) == "ab cd\n  ef\n  gh\n    ij\n    kl\n");
  CHECK(lines("ab  cd\n\nef", 0) == "ab  cd\n\nef\n");
  CHECK(line("\u00e4\u00f6 \u00fc\u00df", 5) == "\u00e4\u00f6 \u00fc\u00df\n");
  CHECK(line("unbreakable", 4) == "unbreakable\n");
}
