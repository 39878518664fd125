// The pages in a real browser, at a phone's width and a computer's: a clip is sent, its verdict
// comes, a shot is left out and taken back, a set-up is begun, the report is opened.
// NOCKTRAIL_SCREENSHOTS=DIR keeps pictures of what was seen, to be looked at.
#include <doctest/doctest.h>

#include <nlohmann/json.hpp>

#include "browser.hpp"
#include "page_checks.hpp"
#include "served.hpp"

using namespace nocktrail::serve::test;

namespace {

void live_through_an_evening(int width, int height, bool phone) {
  if (!Browser::there()) {
    MESSAGE("skipped: no chromium here");
    return;
  }
  const std::string name = phone ? "phone" : "computer";
  const Served served;
  REQUIRE(served.ready());
  served.folder().write(
      "session.toml",
      "name = \"Evening <b>at</b> the line\"\nhand = \"right\" # hers\ncant = 15\n");
  Browser browser;
  browser.screen(width, height, phone);
  browser.open(served.url());
  REQUIRE(shows(browser, "#session", "Evening <b>at</b> the line"));
  // The secret is out of the address bar, and no script can read the cookie.
  CHECK(browser.value("location.href") == "http://" + served.host() + "/");
  CHECK(browser.value("document.cookie") == "");
  REQUIRE(shows(browser, "#state", "Connected"));
  CHECK(says(browser.text("#newest"), "No shot yet"));
  CHECK(browser.text("#setup") == "1-start");
  keep_picture(browser, name + "-empty");

  // Sent under a name that is HTML.
  const Folder camera;
  const fs::path clip = camera / "IMG<i>7.mp4";
  fs::copy_file(test_clip("upside-down.mp4"), clip);
  browser.choose_files("#files", {clip.string()});
  REQUIRE(shows(browser, "#queue", "arrived"));
  CHECK(served.files() == std::vector<std::string>{"1-start/IMG_i_7.mp4", "session.toml"});
  REQUIRE(shows(browser, "#newest", "Nock left"));
  REQUIRE(shows(browser, "#newest", "Spine: weak"));
  REQUIRE(shows(browser, "#shots-list", "IMG_i_7.mp4"));
  REQUIRE(eventually([&] { return !says(browser.text("#state"), "Reading"); }));
  CHECK(says(browser.text("#newest"), "±"));
  check_layout(browser, width);
  keep_picture(browser, name + "-verdict");
  browser.choose_files("#files", {clip.string()});
  REQUIRE(shows(browser, "#queue", "was here already, as IMG_i_7.mp4"));

  // A clip without a shot, by other means: the page shows it just as well.
  fs::copy_file(test_clip("let-down.mp4"), served.folder() / "1-start/drawn.mp4");
  REQUIRE(shows(browser, "#newest", "drawn.mp4"));
  CHECK(says(browser.text("#newest"), "No shot"));
  keep_picture(browser, name + "-refused");

  // Left out, with its reason, and taken back.
  browser.open("http://" + served.host() + "/shot?setup=1-start&clip=IMG_i_7.mp4");
  REQUIRE(shows(browser, "#reading", "Nock left"));
  REQUIRE(eventually([&] {
    return browser.value("document.images.length && document.images[0].naturalWidth > 0") == true;
  }));
  check_layout(browser, width);
  keep_picture(browser, name + "-shot");
  browser.type("#reason-0", "plucked, \"badly\"");
  browser.click("#count button");
  REQUIRE(shows(browser, "#count", "It is left out: plucked, \"badly\""));
  CHECK(content(served.folder() / "1-start/setup.toml") ==
        "[clip.\"IMG_i_7.mp4\"]\ndrop = \"plucked, \\\"badly\\\"\"\n");
  keep_picture(browser, name + "-left-out");
  browser.click("#count button");
  REQUIRE(shows(browser, "#count", "It counts"));
  CHECK_FALSE(says(content(served.folder() / "1-start/setup.toml"), "plucked"));

  // A set-up is begun by one change; a value that cannot be is said beside its field.
  browser.open("http://" + served.host() + "/");
  REQUIRE(shows(browser, "#shots-list", "IMG_i_7.mp4"));
  browser.click("#begin summary");
  browser.type("#begin-name", "nock down");
  browser.type("#begin-field", "bow.nocking_point");
  browser.type("#begin-value", "half a thumb");
  browser.click("#begin-form button");
  REQUIRE(shows(browser, "#begin-error", "Nocking point above square: cannot read"));
  check_layout(browser, width);
  keep_picture(browser, name + "-begin");
  browser.type("#begin-value", "3/8in");
  browser.click("#begin-form button");
  REQUIRE(eventually([&] { return browser.value("at('setup').value") == "2-nock-down"; }));
  CHECK(says(content(served.folder() / "2-nock-down/setup.toml"), "nocking_point = \"3/8in\""));

  // What belongs to no set-up is said, and a slip in a hand-written file until it is mended.
  fs::copy_file(clip, served.folder() / "stray.mp4");
  REQUIRE(eventually([&] {
    return says(browser.value("at('message-list').textContent").get<std::string>(), "stray.mp4");
  }));
  fs::remove(served.folder() / "stray.mp4");
  served.folder().write("session.toml", "hnad = \"right\"\n");
  REQUIRE(shows(browser, "#faults", "did you mean hand?"));

  // A limit that is passed stands above everything.
  served.folder().write("session.toml",
                        "hand = \"right\"\ncant = 15\n[bow]\ndraw_weight = \"45lb\"\n"
                        "min_grains_per_pound = 8\n[arrow]\ntotal_mass = \"200gr\"\n");
  REQUIRE(shows(browser, "#stop", "Do not shoot"));
  CHECK(browser.value("at('next').hidden") == true);
  CHECK(browser.value("at('faults').hidden") == true);
  CHECK(browser.value("at('stop').getBoundingClientRect().top < "
                      "at('newest').getBoundingClientRect().top") == true);
  keep_picture(browser, name + "-stop");

  browser.open("http://" + served.host() + "/report");
  REQUIRE(shows(browser, "h1", "nock"));
  keep_picture(browser, name + "-report");

  for (const std::string& address : browser.asked()) {
    INFO(address);
    CHECK((address.starts_with("http://" + served.host() + "/") || address.starts_with("data:")));
  }
  for (const std::string& complaint : browser.complaints()) {
    // The refused value's 400 is the browser's own note of it.
    INFO(complaint);
    CHECK(says(complaint, "status of 400"));
  }
}

}  // namespace

TEST_CASE("reference: an evening at the line, on a phone") {
  live_through_an_evening(390, 844, true);
}

TEST_CASE("reference: an evening at the line, on a computer") {
  live_through_an_evening(1280, 900, false);
}

TEST_CASE("reference: the code for the phone, on the computer's screen") {
  if (!Browser::there()) {
    MESSAGE("skipped: no chromium here");
    return;
  }
  const Served served({"--lan"});
  if (!served.ready()) {
    MESSAGE("skipped: this computer is in no network");
    return;
  }
  Browser browser;
  browser.screen(1280, 900, false);
  // As the menu opens it; here by this computer's own address, which the browser may reach.
  browser.open("http://127.0.0.1:" + std::to_string(served.port()) + "/?key=" + served.key() +
               "#phone");
  REQUIRE(shows(browser, "#phone-words", "point its camera at the code"));
  CHECK(says(browser.text("#phone-codes"), served.url()));
  CHECK(browser.value("document.querySelector('.code').getBoundingClientRect().width > 200") ==
        true);
  CHECK_FALSE(says(browser.value("location.href").get<std::string>(), "key"));
  check_layout(browser, 1280);
  keep_picture(browser, "phone-code");
  browser.dark(true);
  keep_picture(browser, "phone-code-dark");
  browser.dark(false);
  browser.screen(390, 844, true);
  check_layout(browser, 390);

  // Served to this computer alone it says so.
  const Served alone;
  REQUIRE(alone.ready());
  browser.open(alone.url() + "#phone");
  REQUIRE(shows(browser, "#phone-words", "Only this computer is let in"));
  CHECK(browser.complaints().empty());
}

TEST_CASE("fault: a page of another host can neither send nor read") {
  if (!Browser::there()) {
    MESSAGE("skipped: no chromium here");
    return;
  }
  const Served served({"--no-stills"});
  const Served other({"--no-stills"});  // another origin: the same machine, another port
  REQUIRE(served.ready());
  REQUIRE(other.ready());
  Browser browser;
  browser.open(served.url());  // the cookie is there, as at the line
  REQUIRE(shows(browser, "#state", "Connected"));
  browser.open("data:text/html,<h1>elsewhere</h1>");
  REQUIRE(shows(browser, "h1", "elsewhere"));
  const std::string base = "http://" + served.host();
  const std::string tried =
      "fetch('" + base +
      "/api/clips?name=evil.mp4', {method: 'POST', mode: 'no-cors', "
      "credentials: 'include', body: 'x'}).then(a => a.type).catch(e => 'failed')";
  browser.value(tried);
  CHECK(browser.value("fetch('" + base +
                      "/api/session', {credentials: 'include'})"
                      ".then(a => a.text()).catch(e => 'failed')") == "failed");
  CHECK(browser.value("fetch('" + base +
                      "/api/clips?name=evil.mp4', {method: 'POST', headers: "
                      "{'X-Nocktrail-Key': '" +
                      served.key() +
                      "'}, body: 'x'})"
                      ".then(a => a.text()).catch(e => 'failed')") == "failed");
  CHECK(served.files().empty());
}
