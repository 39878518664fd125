#include "nocktrail/report/marks.hpp"

#include <doctest/doctest.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <random>
#include <string>

#include "nocktrail/error.hpp"

using namespace nocktrail;
using namespace nocktrail::report;
namespace fs = std::filesystem;

namespace {

const std::string kHash(64, 'a');

std::string valid() {
  return R"({"schema": "nocktrail.marks/1", "clip_sha256": null, "frames": [
    {"index": 54, "nock_px": [640.5, 400], "tip_px": [650, 322.25]},
    {"index": 52, "nock_px": null, "tip_px": [651, 300]}], "exit_index": 51})";
}

std::string fault_of(const std::string& text) {
  try {
    marks_from_json(text, "m.json");
  } catch (const BadInput& fault) {
    return fault.what();
  }
  return "";
}

std::string with(const std::string& from, const std::string& to) {
  std::string text = valid();
  text.replace(text.find(from), from.size(), to);
  return text;
}

}  // namespace

TEST_CASE("unit: marks are taken in, frames in their order") {
  const Marks marks = marks_from_json(valid(), "m.json");
  REQUIRE(marks.frames.size() == 2);
  CHECK(marks.frames[0].index == 52);
  CHECK_FALSE(marks.frames[0].nock_px);
  CHECK(marks.frames[1].nock_px->x() == 640.5);
  CHECK(marks.frames[1].tip_px->y() == 322.25);
  CHECK(marks.exit_index == 51);
  CHECK(marks.clip_sha256.empty());
  CHECK_FALSE(marks.counts);
}

TEST_CASE("unit: what is written is read again") {
  Marks marks = marks_from_json(valid(), "m.json");
  marks.clip_sha256 = kHash;
  marks.counts = true;
  marks.limb = LimbMark{53, {{600.5, 20.0}, {640.0, 300.25}}};
  const std::string once = marks_text(marks);
  const Marks again = marks_from_json(once, "m.json");
  CHECK(again.clip_sha256 == kHash);
  CHECK(again.counts);
  REQUIRE(again.limb);
  CHECK(again.limb->index == 53);
  REQUIRE(again.limb->points_px.size() == 2);
  CHECK(again.limb->points_px[1].y() == 300.25);
  CHECK(marks_text(again) == once);
  CHECK(marks_from_json(marks_text(Marks{}), "m.json").frames.empty());
}

TEST_CASE("fault: every slip in marks is one line that names file and place") {
  const std::vector<std::pair<std::string, std::string>> slips{
      {with("marks/1", "marks/2"), "schema"},
      {with("\"tip_px\"", "\"tpi_px\""), "tpi_px"},
      {with("null, \"frames\"", "\"abc\", \"frames\""), "clip_sha256"},
      {with("52", "54"), "twice"},
      {with("52", "-3"), "index"},
      {with("52", "52.5"), "index"},
      {with("52", "1e40"), "index"},
      {with("[651, 300]", "[651]"), "tip_px"},
      {with("[651, 300]", "[651, \"300\"]"), "tip_px"},
      {with("[651, 300]", "[651, 1e300]"), "tip_px"},
      {with("[651, 300]", "{\"x\": 651}"), "tip_px"},
      {with("\"exit_index\": 51", "\"exit_index\": \"51\""), "exit_index"},
      {with("\"exit_index\": 51", "\"counts\": 1"), "counts"},
      {with("\"exit_index\": 51", "\"limb\": [1, 2]"), "limb"},
      {with("\"exit_index\": 51", "\"limb\": {\"index\": 51}"), "limb.points_px"},
      {with("\"exit_index\": 51", "\"limb\": {\"index\": 51, \"points_px\": [[1, 2]]}"),
       "limb.points_px"},
      {with("\"exit_index\": 51", "\"limb\": {\"index\": 51, \"points_px\": [[1, 2], null]}"),
       "limb.points_px[1]"},
      {with("\"exit_index\": 51", "\"limb\": {\"index\": -1, \"points_px\": [[1, 2], [3, 4]]}"),
       "limb.index"},
      {"[]", "object"},
      {"{}", "schema"},
      {R"({"schema": "nocktrail.marks/1"})", "frames"},
      {R"({"schema": "nocktrail.marks/1", "frames": [7]})", "frames[0]"},
      {"", "JSON"},
      {"null", "object"},
      {std::string("\xff\xfe\0{", 4), "JSON"}};
  for (const auto& slip : slips) {
    const std::string& text = slip.first;
    const std::string& words = slip.second;
    const std::string fault = fault_of(text);
    CAPTURE(text);
    CAPTURE(fault);
    CHECK(fault.rfind("m.json: ", 0) == 0);
    CHECK(fault.find(words) != std::string::npos);
    CHECK(fault.find("; give a file of marks") != std::string::npos);
    CHECK(fault.find('\n') == std::string::npos);
  }
}

TEST_CASE("fault: nonsense as marks is refused, never more") {
  // As deep as a file may be large.
  CHECK_FALSE(fault_of(std::string(1000000, '[')).empty());
  CHECK_FALSE(fault_of("{\"schema\":" + std::string(500000, '[')).empty());
  const std::string whole = valid();
  for (std::size_t end = 0; end < whole.size(); ++end) {
    CHECK_FALSE(fault_of(whole.substr(0, end)).empty());
  }
  std::mt19937 generator(4);
  for (int i = 0; i < 5000; ++i) {
    std::string text = whole;
    for (int k = 0; k < 3; ++k) {
      text[generator() % text.size()] = static_cast<char>(generator() % 256U);
    }
    CHECK_NOTHROW(fault_of(text));  // taken in or refused
  }
}

TEST_CASE("fault: a file of marks that is none") {
  std::string pattern = (fs::temp_directory_path() / "nocktrail-XXXXXX").string();
  const fs::path folder = ::mkdtemp(pattern.data());
  CHECK_THROWS_AS(read_marks(folder / "missing.json"), BadInput);
  CHECK_THROWS_AS(read_marks(folder), BadInput);
  std::ofstream(folder / "large.json") << valid() << std::string((1U << 20U) + 1U, ' ');
  CHECK_THROWS_AS(read_marks(folder / "large.json"), BadInput);
  std::ofstream(folder / "marks.json") << valid();
  CHECK(read_marks(folder / "marks.json").frames.size() == 2);
  fs::remove_all(folder);
}
