// Bytes as readings in JSON, as they are exchanged and as a session keeps them, and as marks. What
// is taken in must be writable again, and the same after a second time round.
#include <span>

#include "fuzz.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/report/json.hpp"
#include "nocktrail/report/marks.hpp"
#include "nocktrail/report/text.hpp"
#include "nocktrail/session/words.hpp"
#include "results.hpp"

namespace nocktrail::fuzz {
namespace {

void say(const Reading& reading) {
  report::TextOptions text;
  text.hand = Hand::right;
  static_cast<void>(report::text(reading, text));
  tune::ClipRecord clip;
  clip.file = "clip.mp4";
  clip.reading = reading;
  static_cast<void>(session::clip_line("1", clip));
}

void exchanged(std::string_view text) {
  const std::vector<Reading> readings = report::readings_from_json(text, "reading.json");
  const std::string once = report::json_text(readings);
  const std::string twice = report::json_text(report::readings_from_json(once, "reading.json"));
  require(once == twice, "a reading changes on its way through JSON");
  for (const Reading& reading : readings) {
    say(reading);
  }
}

void kept(std::string_view text) {
  const session::StoredReading stored = session::stored_from_json(text, "kept.json");
  const std::string once = session::to_json(stored);
  const std::string twice = session::to_json(session::stored_from_json(once, "kept.json"));
  require(once == twice, "a kept reading changes on its way through JSON");
  say(stored.reading);
}

void marked(std::string_view text) {
  const std::string once = report::marks_text(report::marks_from_json(text, "marks.json"));
  const std::string twice = report::marks_text(report::marks_from_json(once, "marks.json"));
  require(once == twice, "marks change on their way through JSON");
}

}  // namespace
}  // namespace nocktrail::fuzz

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  using namespace nocktrail;
  for (const auto way : {&fuzz::exchanged, &fuzz::kept, &fuzz::marked}) {
    try {
      way(fuzz::text_of(data, size));
    } catch (const BadInput& fault) {
      fuzz::require_one_line(fault);
    }
  }
  return 0;
}
