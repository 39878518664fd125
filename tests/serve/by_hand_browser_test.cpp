// A clip that the reader refuses is marked through the page in a real browser, with a finger at a
// phone's width and with mouse and keys at a computer's, and gives a reading on the right side. The
// places that are touched are the true ends of the rendered arrow (test-clips/*.truth.json).
#include <doctest/doctest.h>

#include <array>
#include <cmath>
#include <fstream>
#include <functional>
#include <nlohmann/json.hpp>
#include <vector>

#include "browser.hpp"
#include "page_checks.hpp"
#include "served.hpp"

using namespace nocktrail::serve::test;
using nlohmann::json;

namespace {

using Place = std::array<double, 2>;
struct TrueEnds {
  int index = 0;
  Place nock{};
  Place tip{};
};

// Of the first shot, from the exit on, evenly over those frames in which a person can tell the
// ends.
std::vector<TrueEnds> true_ends(const json& truth, std::size_t how_many) {
  const double width = truth["display_width"];
  const double height = truth["display_height"];
  constexpr double kLeastLength_px = 12.0;
  const auto inside = [&](const json& p) {
    return p[0] > 4.0 && p[1] > 4.0 && p[0] < width - 5.0 && p[1] < height - 5.0;
  };
  std::vector<TrueEnds> all;
  const json& shot = truth["shots"][0];
  for (const json& frame : shot["frames"]) {
    if (frame["t_s"] < shot["exit_s"] || frame["nock_px"].is_null() || frame["tip_px"].is_null() ||
        !inside(frame["nock_px"]) || !inside(frame["tip_px"])) {
      continue;
    }
    TrueEnds ends{frame["index"], frame["nock_px"], frame["tip_px"]};
    if (std::hypot(ends.nock[0] - ends.tip[0], ends.nock[1] - ends.tip[1]) >= kLeastLength_px) {
      all.push_back(ends);
    }
  }
  std::vector<TrueEnds> chosen;
  for (std::size_t i = 0; i < how_many && !all.empty(); ++i) {
    chosen.push_back(all[i * (all.size() - 1) / (how_many - 1)]);
  }
  return chosen;
}

class Marking {
 public:
  Marking(Browser& browser, bool finger) : browser_(browser), finger_(finger) {}

  void go_to(int index) {
    browser_.type("#slider", std::to_string(index));
    REQUIRE(eventually([&] {
      return browser_.value("index") == index &&
             browser_.value("canvas.getAttribute('aria-busy')") == "false";
    }));
  }
  void touch(
      const Place& place, const std::function<void()>& before_lifting = [] {}) {
    const std::string p = json(place).dump();
    for (int i = 0; i < 8 && browser_.value("inSight(" + p + ")") == false; ++i) {
      browser_.click("#wider");
    }
    REQUIRE(
        eventually([&] { return browser_.value("canvas.getAttribute('aria-busy')") == "false"; }));
    browser_.value("canvas.scrollIntoView({block: 'center'})");
    const json at =
        browser_.value("(function() { const b = canvas.getBoundingClientRect(), s = onScreen(" + p +
                       "); return [b.left + s[0], b.top + s[1]]; })()");
    browser_.tap(at[0], at[1], finger_, before_lifting);
  }
  void mark(const TrueEnds& ends) {
    go_to(ends.index);
    touch(ends.nock);
    CHECK(browser_.value("target") == "tip");  // the next touch is the other end's
    touch(ends.tip);
  }

 private:
  Browser& browser_;
  bool finger_;
};

json reading_of(const Served& served) {
  return json::parse(served.get("/api/line").body)["setups"][0]["clips"][0];
}

void mark_a_refused_clip(int width, int height, bool phone) {
  if (!Browser::there()) {
    MESSAGE("skipped: no chromium here");
    return;
  }
  const std::string name = std::string("by-hand-") + (phone ? "phone" : "computer");
  json truth;
  std::ifstream(test_clip("vertical-bow-1080p.truth.json")) >> truth;
  REQUIRE(truth["shots"][0]["nock_right_deg"] > 0.5);
  const std::vector<TrueEnds> ends = true_ends(truth, 8);
  REQUIRE(ends.size() == 8);
  const Served served;
  REQUIRE(served.ready());
  // Without arrow length and focal length the program's own search is refused.
  served.folder().write("session.toml", "hand = \"right\"\ncant = 1.5\n");
  fs::copy_file(test_clip("vertical-bow-1080p.mp4"), served.folder() / "late & dark.mp4");
  Browser browser;
  browser.screen(width, height, phone);
  browser.open(served.url());
  // From the refused clip's row.
  REQUIRE(shows(browser, "#shots-list", "Mark by hand"));
  CHECK(reading_of(served)["status"] == "refused");
  check_layout(browser, width);
  keep_picture(browser, name + "-line");
  browser.click("#shots-list a.by-hand");
  REQUIRE(shows(browser, "#title", "late & dark.mp4"));
  REQUIRE(eventually([&] { return browser.value("canvas.getAttribute('aria-busy')") == "false"; }));
  check_layout(browser, width);
  keep_picture(browser, name + "-begin");
  CHECK(browser.value("at('keep').disabled") == true);

  Marking marking(browser, phone);
  for (int i = 0; i < 4; ++i) {
    marking.mark(ends[static_cast<std::size_t>(i)]);
  }
  // Undone and done again.
  browser.click("#undo");
  CHECK(says(browser.text("#frame-words"), "nock marked"));
  browser.value("choose('tip')");
  marking.touch(ends[3].tip, [&] { keep_picture(browser, name + "-glass"); });
  REQUIRE(shows(browser, "#made", "dashed in the frames"));
  CHECK(says(browser.text("#made"), "in 4 frames"));
  CHECK_FALSE(says(browser.text("#made"), "±"));
  keep_picture(browser, name + "-flight");
  for (int i = 4; i < 8; ++i) {
    marking.mark(ends[static_cast<std::size_t>(i)]);
  }
  REQUIRE(shows(browser, "#made", "Nock right"));
  CHECK(says(browser.text("#made"), "±"));
  CHECK(says(browser.text("#made"), "Marked by hand"));
  CHECK(says(browser.text("#keep-words"), "Not kept"));
  // The limb's line: two places in one frame, taken back again.
  browser.click("#mark-limb");
  marking.touch({1107.0, 240.0});
  CHECK(browser.value("marksDocument().limb").is_null());
  CHECK(says(browser.text("#frame-words"), "one more"));
  marking.touch({1091.0, 690.0});
  CHECK(says(browser.text("#frame-words"), "limb marked at 2 places"));
  CHECK(browser.value("marksDocument().limb.points_px.length") == 2);
  keep_picture(browser, name + "-limb");
  browser.click("#undo");
  browser.click("#undo");
  CHECK(browser.value("marksDocument().limb").is_null());
  browser.click("#mark-tip");
  if (!phone) {  // by keys: frames, a nudge by a pixel each way, undo
    const json before = browser.value("marks.get(index).tip");
    browser.value("choose('tip')");
    browser.press("ArrowRight", 8);
    browser.press("ArrowUp", 8);
    const json after = browser.value("marks.get(index).tip");
    CHECK(after[0].get<double>() == doctest::Approx(before[0].get<double>() + 1.0));
    CHECK(after[1].get<double>() == doctest::Approx(before[1].get<double>() - 1.0));
    browser.press("u");
    browser.press("u");
    CHECK(browser.value("marks.get(index).tip") == before);
    const int at = browser.value("index");
    browser.press("ArrowLeft");
    CHECK(browser.value("index") == at - 1);
    browser.press("ArrowRight");
    CHECK(browser.value("index") == at);
  }
  REQUIRE(shows(browser, "#made", "Nock right"));
  check_layout(browser, width);
  keep_picture(browser, name + "-reading");
  browser.dark(true);
  keep_picture(browser, name + "-dark");
  browser.dark(false);
  if (phone) {  // turned on its side: the frame as high as the screen, all buttons beside it
    browser.screen(height, width, phone);
    browser.value("canvas.scrollIntoView({block: 'start'})");
    CHECK(browser.value("canvas.getBoundingClientRect().height") >= 0.85 * width);
    CHECK(browser.value("at('wider').getBoundingClientRect().bottom <= innerHeight") == true);
    CHECK(browser.value("at('forward').getBoundingClientRect().left >= "
                        "canvas.getBoundingClientRect().right") == true);
    check_layout(browser, height);
    keep_picture(browser, name + "-landscape");
    browser.screen(width, height, phone);
  }

  // Loaded anew before it was kept: nothing is lost.
  browser.open("http://" + served.host() + "/by-hand?setup=.&clip=" + escaped("late & dark.mp4"));
  REQUIRE(shows(browser, "#made", "Nock right"));
  CHECK(says(browser.text("#keep-words"), "Not kept"));
  browser.click("#keep");
  REQUIRE(shows(browser, "#keep-words", "Kept."));
  REQUIRE(eventually([&] { return reading_of(served)["by_hand"] == true; }));
  const json read = reading_of(served);
  CHECK(read["status"] == "measured");
  CHECK(says(read["shots"][0]["lateral"].get<std::string>(), "Nock right"));
  CHECK(read["waits"] == true);
  REQUIRE(shows(browser, "#state", "read by the marks"));

  // Shown, and counted only once its archer says so.
  const auto session = [&] {
    const json all = json::parse(served.get("/api/session").body);
    return all["waiting"] == 0 ? all["setups"][0] : json::object();
  };
  REQUIRE(eventually([&] { return session().value("counted", -1) == 0; }));
  browser.open("http://" + served.host() + "/shot?setup=.&clip=" + escaped("late & dark.mp4"));
  REQUIRE(shows(browser, "#reading", "Marked by hand"));
  REQUIRE(shows(browser, "#count", "does not count until you say so"));
  check_layout(browser, width);
  keep_picture(browser, name + "-shot");
  browser.click("#by-hand");
  REQUIRE(shows(browser, "#keep-words", "Kept."));
  browser.click("#counts");
  REQUIRE(shows(browser, "#keep-words", "Not kept"));
  browser.click("#keep");
  REQUIRE(eventually([&] { return session().value("counted", -1) == 1; }));
  CHECK(session()["clips"][0]["by"] == "hand");
  CHECK(says(served.get("/report").body, "marked by hand"));

  // The clip lies in the session's own folder: it goes into a set-up before another is begun.
  browser.open("http://" + served.host() + "/");
  REQUIRE(shows(browser, "#newest-body", "Marked by hand"));
  browser.click("#begin summary");
  CHECK(says(browser.text("#begin-gather"), "moved into a set-up of their own first"));
  browser.type("#begin-name", "higher");
  check_layout(browser, width);
  keep_picture(browser, name + "-gather");
  browser.click("#begin-form button");
  REQUIRE(eventually([&] { return browser.value("at('setup').value") == "2-higher"; }));
  CHECK(fs::exists(served.folder() / "1-start" / "late & dark.mp4"));
  CHECK_FALSE(fs::exists(served.folder() / "late & dark.mp4"));
  REQUIRE(eventually([&] {
    const json all = json::parse(served.get("/api/session").body);
    return all["waiting"] == 0 && all["setups"].size() == 2 && all["setups"][0]["counted"] == 1;
  }));

  for (const std::string& address : browser.asked()) {
    INFO(address);
    CHECK((address.starts_with("http://" + served.host() + "/") || address.starts_with("data:")));
  }
  for (const std::string& complaint : browser.complaints()) {
    FAIL_CHECK(complaint);
  }
}

}  // namespace

TEST_CASE("reference: a refused clip is marked by hand, on a phone") {
  mark_a_refused_clip(390, 844, true);
}

TEST_CASE("reference: a refused clip is marked by hand, on a computer") {
  mark_a_refused_clip(1280, 900, false);
}
