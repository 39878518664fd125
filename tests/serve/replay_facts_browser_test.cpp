// The replay of a shot and the form of facts in a real browser, at a phone's width and a
// computer's; and an upload that is cut off, gone on with by the page itself.
#include <doctest/doctest.h>

#include <nlohmann/json.hpp>

#include "browser.hpp"
#include "page_checks.hpp"
#include "served.hpp"

using namespace nocktrail::serve::test;

namespace {

void check_quiet(Browser& browser, const Served& served) {
  for (const std::string& address : browser.asked()) {
    INFO(address);
    CHECK((address.starts_with("http://" + served.host() + "/") || address.starts_with("data:")));
  }
  for (const std::string& complaint : browser.complaints()) {
    FAIL_CHECK(complaint);
  }
}

void watch_a_replay(int width, int height, bool phone) {
  if (!Browser::there()) {
    MESSAGE("skipped: no chromium here");
    return;
  }
  const std::string name = phone ? "replay-phone" : "replay-computer";
  const Served served;
  REQUIRE(served.ready());
  served.folder().write("session.toml", "hand = \"right\"\ncant = 15\n");
  served.folder().write("1-start/first & one.mp4", content(test_clip("portrait-right.mp4")));
  served.folder().write("1-start/second.mp4", content(test_clip("portrait-bare-canted.mp4")));
  Browser browser;
  browser.screen(width, height, phone);
  browser.open(served.url());
  REQUIRE(shows(browser, "#shots-list", "second.mp4"));
  REQUIRE(eventually([&] {
    return browser.value("line && line.waiting") == 0 && browser.value("line.settled") == true;
  }));
  browser.open("http://" + served.host() +
               "/shot?setup=1-start&clip=" + escaped("first & one.mp4"));
  REQUIRE(eventually([&] { return browser.value("at('replay').hidden") == false; }));
  browser.click("#replay-play");
  const bool plays = eventually([&] {
    return browser.value("at('replay-film').videoWidth") == 720 &&
           browser.value("at('replay-film').currentTime > 0.2") == true;
  });
  INFO(browser.text("#replay-state"));
  INFO(
      browser.value("[at('replay-film').readyState, at('replay-film').networkState, "
                    "String(at('replay-film').error && at('replay-film').error.message), "
                    "at('replay-film').paused].join()"));
  REQUIRE(plays);
  CHECK(browser.text("#replay-state").empty());
  CHECK(browser.value("at('replay-film').error === null") == true);
  // Stepped to the middle of the flight, to be looked at.
  browser.value("(at('replay-film').pause(), at('replay-film').currentTime = 1.3)");
  REQUIRE(eventually([&] { return browser.value("at('replay-film').seeking") == false; }));
  check_layout(browser, width);
  keep_picture(browser, name);
  CHECK(browser.value("at('replay-file').download") == "first & one-replay.mp4");

  // The other shot laid over it.
  REQUIRE(shows(browser, "#replay-over", "second.mp4"));
  browser.type("#replay-over", "0");
  browser.click("#replay-play");
  REQUIRE(eventually([&] {
    return browser.value("at('replay-film').videoHeight > 1300") == true &&
           browser.value("at('replay-film').currentTime > 0.2") == true;
  }));
  browser.value("(at('replay-film').pause(), at('replay-film').currentTime = 1.3)");
  REQUIRE(eventually([&] { return browser.value("at('replay-film').seeking") == false; }));
  keep_picture(browser, name + "-two");
  browser.dark(true);
  keep_picture(browser, name + "-dark");
  check_quiet(browser, served);
}

void change_facts(int width, int height, bool phone) {
  if (!Browser::there()) {
    MESSAGE("skipped: no chromium here");
    return;
  }
  const std::string name = phone ? "facts-phone" : "facts-computer";
  const Served served;
  REQUIRE(served.ready());
  served.folder().write("session.toml",
                        "# ours\nhand = \"right\" # hers\n[bow]\nname = \"<b>ash</b>\"\n"
                        "brace_height = \"7 1/4in\"\n");
  served.folder().write("1-start/setup.toml", "# begun at nine\n");
  served.folder().write("1-start/not a film.mp4", "1");
  Browser browser;
  browser.screen(width, height, phone);
  browser.open(served.url());
  REQUIRE(shows(browser, "#state", "Connected"));
  REQUIRE(shows(browser, "#setup", "1-start"));
  browser.click("#setup-facts");
  REQUIRE(shows(browser, "#title", "Facts of 1-start"));
  REQUIRE(shows(browser, "#parts", "left empty: 7 1/4in, of the session"));
  CHECK(browser.value("at('save').disabled") == true);
  check_layout(browser, width);
  keep_picture(browser, name);

  // Slips, each beside its field.
  browser.type("#fact-bow-brace_height", "72in");
  browser.type("#fact-arrow-tip_mass", "heavy");
  browser.type("#fact-bow-nocking_point", "9/16in");
  REQUIRE(shows(browser, "#save", "Save 3 changes"));
  browser.click("#save");
  REQUIRE(shows(browser, "#fact-bow-brace_height-error", "72in is not possible; give 4 to 11in"));
  CHECK_FALSE(browser.text("#fact-arrow-tip_mass-error").empty());
  CHECK(browser.text("#fact-bow-nocking_point-error").empty());
  CHECK(browser.value("document.activeElement.getAttribute('aria-invalid')") == "true");
  CHECK(content(served.folder() / "1-start/setup.toml") == "# begun at nine\n");
  check_layout(browser, width);
  keep_picture(browser, name + "-slips");
  browser.type("#fact-bow-brace_height", "7in");
  browser.type("#fact-arrow-tip_mass", "125gr");
  browser.click("#save");
  REQUIRE(shows(browser, "#saved", "Saved"));
  const std::string text = content(served.folder() / "1-start/setup.toml");
  CHECK(says(text, "# begun at nine\n"));
  CHECK(says(text, "brace_height = \"7in\""));
  CHECK(says(text, "tip_mass = \"125gr\""));
  CHECK(content(served.folder() / "1-start/setup.toml.before") == "# begun at nine\n");

  // Somebody else is first; what is typed here stays until it is meant.
  browser.type("#fact-bow-string", "12 strands");
  const nlohmann::json other = {
      {"setup", "1-start"},
      {"edits", {{{"field", "bow.string"}, {"value", "14 strands"}, {"was", ""}}}}};
  REQUIRE(served.post("/api/facts", other.dump()).status == 200);
  browser.click("#save");
  REQUIRE(shows(browser, "#fact-bow-string-error", "Somebody else made it “14 strands”."));
  CHECK(browser.value("at('fact-bow-string').value") == "12 strands");
  CHECK(says(content(served.folder() / "1-start/setup.toml"), "string = \"14 strands\""));
  keep_picture(browser, name + "-late");
  browser.click("#save");
  REQUIRE(shows(browser, "#saved", "Saved"));
  CHECK(says(content(served.folder() / "1-start/setup.toml"), "string = \"12 strands\""));
  // What the facts forbid from now on is said here, above the form; mended, it goes.
  CHECK(browser.value("at('stop').hidden") == true);
  browser.type("#fact-bow-brace_min", "8in");
  browser.click("#save");
  REQUIRE(shows(browser, "#stop-words", "Do not shoot this bow as it is braced"));
  CHECK(browser.value("at('stop').getBoundingClientRect().top < "
                      "at('form').getBoundingClientRect().top") == true);
  keep_picture(browser, name + "-stop");
  browser.type("#fact-bow-brace_min", "6 1/2in");
  browser.click("#save");
  REQUIRE(eventually([&] { return browser.value("at('stop').hidden") == true; }));

  // Of the whole session; HTML is text.
  browser.type("#setup", ".");
  REQUIRE(shows(browser, "#title", "Facts of the session"));
  CHECK(browser.value("at('fact-bow-name').value") == "<b>ash</b>");
  CHECK(browser.value("at('fact-hand').value") == "right");
  browser.dark(true);
  keep_picture(browser, name + "-dark");
  browser.dark(false);

  // Of one clip alone, from its page.
  browser.open("http://" + served.host() + "/shot?setup=1-start&clip=" + escaped("not a film.mp4"));
  REQUIRE(shows(browser, "#title", "not a film.mp4"));
  browser.click("#facts");
  REQUIRE(shows(browser, "#title", "Facts of not a film.mp4"));
  REQUIRE(shows(browser, "#parts", "left empty: right, of the session"));
  REQUIRE(shows(browser, "#back", "Back to the shot"));
  browser.type("#fact-cant", "9");
  browser.click("#save");
  REQUIRE(shows(browser, "#saved", "Saved"));
  CHECK(says(content(served.folder() / "1-start/setup.toml"),
             "[clip.\"not a film.mp4\"]\ncant = 9\n"));
  check_layout(browser, width);
  keep_picture(browser, name + "-clip");
  // And from there to those of the set-up.
  browser.type("#setup", "1-start");
  REQUIRE(shows(browser, "#title", "Facts of 1-start"));
  CHECK(browser.value("at('fact-bow-string').value") == "12 strands");
  // The refusals above are complaints of the browser's log alone.
  for (const std::string& complaint : browser.complaints()) {
    CHECK((says(complaint, "400") || says(complaint, "409")));
  }
}

}  // namespace

TEST_CASE("reference: a replay is played, on a phone") {
  watch_a_replay(390, 844, true);
}

TEST_CASE("reference: a replay is played, on a computer") {
  watch_a_replay(1280, 900, false);
}

TEST_CASE("reference: facts are changed in a form, on a phone") {
  change_facts(390, 844, true);
}

TEST_CASE("reference: facts are changed in a form, on a computer") {
  change_facts(1280, 900, false);
}

TEST_CASE("reference: the page goes on with an upload that was cut off") {
  if (!Browser::there()) {
    MESSAGE("skipped: no chromium here");
    return;
  }
  const Served served;
  REQUIRE(served.ready());
  served.folder().write("session.toml", "hand = \"right\"\n");
  Browser browser;
  browser.screen(390, 844, true);
  browser.open(served.url());
  REQUIRE(shows(browser, "#state", "Connected"));
  const Folder camera;
  const fs::path clip = camera / "long.mp4";
  // Its first half came before the way was gone.
  const std::string bytes = content(test_clip("let-down.mp4"));
  const std::size_t half = bytes.size() / 2;
  fs::copy_file(test_clip("let-down.mp4"), clip);
  browser.value("newUpload = () => '00112233445566778899aabbccddeeff'");
  {
    Socket socket(served.port());
    Headers headers = served.known();
    headers.emplace_back("Content-Length", std::to_string(bytes.size()));
    socket.send(served.head(
        "POST", "/api/clips?name=long.mp4&setup=1-start&upload=00112233445566778899aabbccddeeff",
        headers));
    socket.send(bytes.substr(0, half));
  }
  REQUIRE(eventually([&] {
    const Got got = served.get("/api/upload?upload=00112233445566778899aabbccddeeff");
    return got.status == 200 && nlohmann::json::parse(got.body)["have"] == half;
  }));
  // As after a page that was loaded anew: the list is there, the file is chosen again.
  browser.value("(queue.push({name: 'long.mp4', size: " + std::to_string(bytes.size()) +
                ", setup: '1-start', upload: newUpload(), file: null, sent: 0, state: 'gone', "
                "words: ''}), 0)");
  browser.choose_files("#files", {clip.string()});
  REQUIRE(shows(browser, "#queue", "arrived"));
  CHECK(content(served.folder() / "1-start/long.mp4") == bytes);
  bool from_half = false;
  for (const std::string& address : browser.asked()) {
    from_half = from_half || says(address, "&from=" + std::to_string(half));
  }
  CHECK(from_half);
  check_quiet(browser, served);
}
