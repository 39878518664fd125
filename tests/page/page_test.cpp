#include "nocktrail/page/page.hpp"

#include <doctest/doctest.h>
#include <fmt/format.h>
#include <sys/wait.h>

#include <cmath>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <limits>
#include <opencv2/imgcodecs.hpp>
#include <pugixml.hpp>
#include <set>

#include "nocktrail/media/image_file.hpp"
#include "nocktrail/picture/still.hpp"
#include "page_folder.hpp"
#include "picture/scene.hpp"
#include "sample_session.hpp"

using namespace nocktrail;
namespace fs = std::filesystem;

namespace {

bool says(const std::string& page, const std::string& words) {
  return page.find(words) != std::string::npos;
}

struct Parsed {
  explicit Parsed(const std::string& page) {
    const pugi::xml_parse_result result = document.load_string(page.c_str(), pugi::parse_full);
    INFO(result.description());
    REQUIRE(result);
  }
  pugi::xpath_node_set all(const char* path) const { return document.select_nodes(path); }
  std::string text() const {
    std::string words;
    for (const pugi::xpath_node& found : all("//body//text()")) {
      words += found.node().value();
      words += ' ';
    }
    return words;
  }
  pugi::xml_document document;
};

// libxml2 knows nothing of pugixml, which wrote the page. Empty: it is not installed.
std::optional<bool> well_formed(const std::string& page, const char* how) {
  if (std::system("command -v xmllint >/dev/null 2>&1") != 0) {
    MESSAGE("xmllint is not installed (Debian: libxml2-utils): not checked");
    return std::nullopt;
  }
  const test::PageFolder folder;
  folder.write("page.html", page);
  return std::system(fmt::format("xmllint {} --noout '{}' 2>/dev/null", how,
                                 (folder / "page.html").string())
                         .c_str()) == 0;
}

}  // namespace

TEST_CASE("reference: another parser takes the page, as XML") {
  const tune::SessionRecord session = test::sample_session();
  const tune::SessionJudgement judgement = test::sample_judgement(session);
  for (const std::string& page :
       {page::page_html(session, judgement), page::build_sheet_html(session, judgement),
        page::page_html({}, {}), page::build_sheet_html({}, {})}) {
    CHECK(page.starts_with("<!DOCTYPE html>"));
    CHECK(well_formed(page, "").value_or(true));
    // HTML has no way to end these by "/>": an empty one would swallow what follows.
    for (const char* name : {"td", "th", "div", "p", "span", "section", "ul", "dl", "caption"}) {
      CHECK_FALSE(says(page, fmt::format("<{}/>", name)));
      CHECK_FALSE(says(page, fmt::format("<{} />", name)));
    }
  }
}

TEST_CASE("unit: the verdict and the next step come first, the rest in order, the sheet last") {
  const tune::SessionRecord session = test::sample_session();
  const std::string page = page::page_html(session, test::sample_judgement(session));
  std::size_t last = 0;
  for (const char* words :
       {"Nock left 0.10 ± 0.38 deg", "Leave the set-up as it is", "The session at a glance",
        "Set-up 1-full-length", "What this bow answers", "Along the flight<", "Stills<",
        "Refused and left out<", "Shoot bare shafts close", "How to read this page<",
        "Build sheet: Rook Hollow 45", "write in what each arrow measures"}) {
    INFO(std::string(words));
    const std::size_t at = page.find(words, last);
    REQUIRE(at != std::string::npos);
    last = at;
  }
}

TEST_CASE("unit: every shot, refusal and outlier is there with its figures and its reason") {
  const tune::SessionRecord session = test::sample_session();
  const tune::SessionJudgement judgement = test::sample_judgement(session);
  const Parsed page(page::page_html(session, judgement));
  const std::string text = page.text();
  for (const tune::SetupJudgement& setup : judgement.setups) {
    CHECK(says(text, setup.name));
    for (const tune::JudgedShot& shot : setup.shots) {
      CHECK(says(text, shot.clip));
      CHECK(says(text,
                 fmt::format("{:.2f} ± {:.2f}", std::abs(shot.lat_deg.value), shot.lat_deg.u95)));
    }
  }
  CHECK(says(text, "plucked"));
  CHECK(says(text, "The arrow shows in too few frames for an offset."));
  CHECK(says(text, "1.6 deg from the others sideways"));
  CHECK(says(text, "mind the release"));
  CHECK(says(text, "30.23 in"));  // where it leaves straight
}

TEST_CASE("unit: a shot from the side is among the shots, and says that it was left out") {
  tune::SessionRecord session = test::sample_session();
  tune::ClipRecord clip;
  clip.file = "beside-1.mp4";
  clip.reading.status = ClipStatus::measured;
  Shot shot;
  shot.status = ShotStatus::measured;
  shot.view = View::side;
  shot.nock_high_deg = Measured{0.42, 0.22};
  tune::SessionJudgement judgement = test::sample_judgement(session);
  clip.reading.shots.push_back(shot);
  session.setups[0].clips.push_back(clip);
  tune::SideShot judged;
  judged.clip = clip.file;
  judged.high_deg = *shot.nock_high_deg;
  judgement.setups[0].side_shots.push_back(judged);
  const std::string text = Parsed(page::page_html(session, judgement)).text();
  CHECK(says(text, "beside-1.mp4"));
  CHECK(says(text, "from the side"));
  CHECK(says(text, "high 0.42 ± 0.22 to plumb"));
  CHECK(says(text, ", 1 from the side"));
  judgement.setups[0].side_shots[0].dropped = true;
  judgement.setups[0].side_shots[0].why = "it touched the shelf";
  const std::string without = Parsed(page::page_html(session, judgement)).text();
  CHECK(says(without, "it touched the shelf"));
  CHECK_FALSE(says(without, ", 1 from the side"));
}

TEST_CASE("unit: what forbids to shoot a set-up stands at that set-up") {
  const tune::SessionRecord session = test::sample_session();
  tune::SessionJudgement judgement = test::sample_judgement(session);
  judgement.setups[0].stops = {"Do not shoot this arrow. It is <too> light."};
  const Parsed page(page::page_html(session, judgement));
  const pugi::xpath_node_set setups = page.all("//div[@class='setup']");
  REQUIRE(setups.size() == judgement.setups.size());
  std::size_t with = 0;
  for (const pugi::xpath_node& setup : setups) {
    with += setup.node().select_nodes(".//li[contains(., 'It is <too> light')]").size();
  }
  CHECK(with == 1);
  CHECK(says(page.text(), "1-full-length, do not shoot"));
  CHECK_FALSE(says(page.text(), "2-nock-lower, do not shoot"));
}

TEST_CASE("unit: a reason names its file without the folder of this computer") {
  tune::SessionRecord session = test::sample_session();
  Reading& reading = session.setups[0].clips.back().reading;
  reading.status = ClipStatus::error;
  reading.reason = session.folder + "/1-full-length/evening-1x.mp4 is not a video file.";
  const std::string page = page::page_html(session, test::sample_judgement(session));
  CHECK(says(page, ">1-full-length/evening-1x.mp4 is not a video file.<"));
  CHECK_FALSE(says(page, session.folder));
}

TEST_CASE("unit: tables and charts say what they are to those who do not see them") {
  const tune::SessionRecord session = test::sample_session();
  const Parsed page(page::page_html(session, test::sample_judgement(session)));
  CHECK(std::string(page.document.child("html").attribute("lang").value()) == "en");
  CHECK(page.all("//meta[@name='viewport']").size() == 1);
  CHECK(page.all("//table").size() >= 12);
  CHECK(page.all("//table[not(caption)]").empty());
  CHECK(page.all("//th[not(@scope)]").empty());
  CHECK(page.all("//tbody/tr[not(th[@scope='row'])]").empty());
  CHECK(page.all("//tbody/tr[count(*) != count(../../thead/tr/th)]").empty());
  CHECK(page.all("//img[not(@alt)]").empty());
  // One for the course, two for what was learnt, and for each of five set-ups one of the scatter
  // and two of the flight.
  CHECK(page.all("//figure/svg[@role='img']").size() == 1 + 2 + 5 * 3);
  std::set<std::string> ids;
  for (const pugi::xpath_node& found : page.all("//*[@id]")) {
    CHECK(ids.insert(found.node().attribute("id").value()).second);
  }
  for (const pugi::xpath_node& found : page.all("//svg")) {
    const pugi::xml_node svg = found.node();
    CHECK(svg.attribute("aria-labelledby").value() ==
          fmt::format("{} {}", svg.child("title").attribute("id").value(),
                      svg.child("desc").attribute("id").value()));
    CHECK(std::string(svg.child("desc").text().get()).size() > 30);
    CHECK(svg.next_sibling("figcaption"));
  }
  for (const pugi::xpath_node& found : page.all("//nav//a")) {
    CHECK(ids.count(found.node().attribute("href").value() + 1) == 1);
  }
}

TEST_CASE("unit: the page asks for nothing outside itself and runs nothing") {
  const tune::SessionRecord session = test::sample_session();
  const std::string page = page::page_html(session, test::sample_judgement(session));
  for (const char* words : {"http:", "https:", "//", "@import", "<script", "<link", "<iframe",
                            "javascript:", "onload="}) {
    INFO(std::string(words));
    CHECK_FALSE(says(page, words));
  }
}

TEST_CASE("unit: left and right mean the other thing for a left-handed archer") {
  tune::SessionRecord session = test::sample_session();
  const auto words = [&] { return page::page_html(session, test::sample_judgement(session)); };
  CHECK(says(words(), ">left: weak<"));
  for (tune::SetupRecord& setup : session.setups) {
    setup.facts.hand = Hand::left;
  }
  CHECK(says(words(), ">left: stiff<"));
  CHECK_FALSE(says(words(), ">left: weak<"));
  for (tune::SetupRecord& setup : session.setups) {
    setup.facts.hand = Hand::unknown;
  }
  CHECK(says(words(), ">nock left<"));
  CHECK_FALSE(says(words(), ">left: stiff<"));
}

TEST_CASE("unit: the recommended step is drawn where it leads") {
  const tune::SessionRecord session = test::sample_session();
  tune::SessionJudgement judgement = test::sample_judgement(session);
  CHECK_FALSE(says(page::page_html(session, judgement), "The next step leads to"));
  judgement.next.kind = StepKind::trim_shaft;
  judgement.next.amount = test::inches(0.125);
  judgement.next.overshoot_chance = 0.031;
  const std::string page = page::page_html(session, judgement);
  CHECK(says(page, "The next step leads to 30 1/8 in (765.2 mm)"));  // 30 1/4 in less 1/8 in
  CHECK(says(page, "goes past straight: 3 %"));
  judgement.next.overshoot_chance = 0.0004;
  CHECK(says(page::page_html(session, judgement), "goes past straight: under 1 %"));
}

TEST_CASE("unit: where only the whole arrow's length was told, that is what is spoken of") {
  tune::SessionRecord session = test::sample_session();
  for (tune::SetupRecord& setup : session.setups) {
    setup.facts.arrow.arrow_length_m = setup.facts.arrow.shaft_length_m;
    setup.facts.arrow.shaft_length_m.reset();
  }
  tune::SessionJudgement judgement = test::sample_judgement(session);
  judgement.next.kind = StepKind::trim_shaft;
  judgement.next.amount = test::inches(0.125);
  for (tune::Learned& learned : judgement.learned) {
    learned.whole_arrow = learned.quantity == tune::Quantity::shaft_length;
  }
  const std::string page = page::page_html(session, judgement);
  CHECK(says(page, "Lateral offset and whole arrow's length"));
  CHECK_FALSE(says(page, "Lateral offset and shaft length"));
  CHECK(says(page, "The next step leads to 30 1/8 in (765.2 mm)"));
}

TEST_CASE("unit: the second shot of a clip finds its own slope, a '#' in a name does not mislead") {
  tune::SessionRecord session = test::sample_session();
  tune::SetupRecord& setup = session.setups[0];
  setup.facts.cant_deg = 0.0;
  setup.clips.resize(1);
  setup.clips[0].file = "roll#7.mp4";
  Shot second = setup.clips[0].reading.shots[0];
  second.nock_right_slope_deg_per_m = Measured{0.77, 0.11};
  setup.clips[0].reading.shots.push_back(second);
  tune::SessionJudgement judgement = test::sample_judgement(session);
  judgement.setups[0].shots[0].clip = "roll#7.mp4";
  judgement.setups[0].shots.push_back(judgement.setups[0].shots[0]);
  judgement.setups[0].shots.back().clip = "roll#7.mp4#2";
  const std::string page = page::page_html(session, judgement);
  CHECK(says(page, "roll#7.mp4, shot 2"));
  CHECK(says(page, "+0.77 ± 0.11"));
}

TEST_CASE("reference: a slope is turned into the bow's frame as an offset is") {
  // docs/measurement.md: a lateral 3 deg at 15 deg of cant shows as 2.898 right, -0.776 high.
  tune::SessionRecord session = test::sample_session(1);
  session.setups[0].facts.cant_deg = 15.0;
  Shot& shot = session.setups[0].clips[0].reading.shots[0];
  shot.nock_right_slope_deg_per_m = Measured{2.898, 0.2};
  shot.nock_high_slope_deg_per_m = Measured{-0.776, 0.2};
  const std::string page = page::page_html(session, test::sample_judgement(session));
  CHECK(says(page, "+3.00 ± 0."));
  CHECK(says(page, "changing by +3.00"));
}

TEST_CASE("unit: the same session gives the same page") {
  const tune::SessionRecord session = test::sample_session();
  const tune::SessionJudgement judgement = test::sample_judgement(session);
  CHECK(page::page_html(session, judgement) == page::page_html(session, judgement));
  page::PageOptions options;
  options.written_at = "2026-03-14 10:20 UTC";
  CHECK(says(page::page_html(session, judgement, options), "Written 2026-03-14 10:20 UTC"));
}

TEST_CASE("fault: hostile names stay text") {
  tune::SessionRecord session = test::sample_session();
  session.name = "<script>alert(1)</script> & \"quotes\" 'and' \xff\x01";
  session.setups[0].name = "]]> <!-- <img src=x onerror=alert(1)>";
  session.setups[0].clips[0].file = "a<b>&amp;.mp4";
  session.setups[0].facts.bow.name = "</style></title><b>";
  const std::string page = page::page_html(session, test::sample_judgement(session));
  CHECK(well_formed(page, "").value_or(true));
  const Parsed parsed(page);
  CHECK(parsed.all("//script").empty());
  CHECK(parsed.all("//img").empty());
  CHECK(parsed.all("//comment()").empty());
  CHECK(says(parsed.text(), "<script>alert(1)</script> & \"quotes\" 'and' ??"));
  CHECK(says(parsed.text(), "]]> <!-- <img src=x onerror=alert(1)>"));
  CHECK(says(parsed.text(), "a<b>&amp;.mp4"));
}

TEST_CASE("fault: whatever the judgement holds, a page is written and no figure is nonsense") {
  const double nan = std::numeric_limits<double>::quiet_NaN();
  const double inf = std::numeric_limits<double>::infinity();
  const tune::SessionRecord session = test::sample_session();
  for (const double odd : {nan, inf, -inf, 1e300, -1e300, 0.0}) {
    CAPTURE(odd);
    tune::SessionJudgement judgement = test::sample_judgement(session);
    for (tune::SetupJudgement& setup : judgement.setups) {
      setup.correlation = odd;
      setup.lateral = tune::OffsetSummary{odd, odd, odd, odd};
      setup.shots[0].lat_deg = Measured{odd, odd};
    }
    for (tune::Learned& learned : judgement.learned) {
      learned.data[0].at = odd;
      learned.data[0].offset_deg = Measured{odd, odd};
      learned.posterior.at[3] = odd;
      learned.posterior.offset_deg[5] = arrow::Band{odd, odd, odd};
      learned.straight_at = arrow::Band{odd, odd, odd};
      learned.slope_deg_per_unit = arrow::Band{odd, odd, odd};
    }
    judgement.next.amount = odd;
    judgement.next.overshoot_chance = odd;
    const std::string page = page::page_html(session, judgement);
    CHECK(well_formed(page, "").value_or(true));
    const std::string text = Parsed(page).text();
    CHECK_FALSE(says(text, "nan"));
    CHECK_FALSE(says(text, "inf "));
    CHECK_FALSE(says(page, "=\"nan"));
    CHECK_FALSE(says(page, "nan,"));
  }
  tune::SessionJudgement ragged = test::sample_judgement(session);
  ragged.learned[0].posterior.at.resize(2);
  ragged.learned[1].posterior = {};
  ragged.learned[1].data.clear();
  ragged.learned[1].straight_at.reset();
  ragged.setups[1].shots.clear();
  ragged.setups[1].lateral.reset();
  ragged.setups[1].vertical.reset();
  ragged.setups[4].lateral.reset();
  ragged.setups[4].vertical.reset();
  const std::string page = page::page_html(session, ragged);
  CHECK(says(page, "Set-up 5-bare has no measured shot yet"));
  ragged.setups.pop_back();
  ragged.setups[0].name = "not in the record";
  CHECK(says(page::page_html(session, ragged), "4-trimmed"));
}

TEST_CASE("unit: before the end the sheet says what comes next") {
  const tune::SessionRecord session = test::sample_session();
  tune::SessionJudgement judgement = test::sample_judgement(session);
  judgement.build_sheet.reset();
  judgement.next.words = "Trim the shaft by 1/8 in.";
  const std::string sheet = page::build_sheet_html(session, judgement);
  CHECK(says(sheet, "Not yet"));
  CHECK(says(sheet, "Trim the shaft by 1/8 in."));
  CHECK(says(page::page_html(session, judgement), "Not yet"));
}

TEST_CASE("unit: thirty stills stay inside the page and below its limit") {
  const test::PageFolder folder;
  test::Scene scene;
  scene.size = {1080, 1920};
  tune::SessionRecord session = test::sample_session(6);
  // Camera noise does not compress, unlike a drawn scene.
  cv::RNG noise(7);
  const auto frames = [&](const std::vector<long>& wanted) {
    auto drawn = scene.fetcher()(wanted);
    for (auto& [index, frame] : drawn) {
      cv::Mat speckle(frame.size(), CV_8UC3);
      noise.fill(speckle, cv::RNG::NORMAL, 0.0, 12.0);
      cv::add(frame, speckle, frame);
    }
    return drawn;
  };
  const std::string png =
      media::png_bytes(picture::draw_still(scene.reading(), 0, frames, picture::StillOptions{}));
  page::PageOptions options;
  options.still = [&](const tune::SetupRecord& setup, const tune::ClipRecord& clip) {
    if (clip.reading.status != ClipStatus::measured) {
      return fs::path();
    }
    const fs::path path = folder / (setup.name + "-" + clip.file + ".png");
    if (!fs::exists(path)) {
      folder.write(path.filename().string(), png);
    }
    return path;
  };
  const std::string page = page::page_html(session, test::sample_judgement(session), options);
  MESSAGE("a page with 30 stills of " << png.size() / 1024 << " KiB: " << page.size() / 1024
                                      << " KiB");
  CHECK(page.size() < 6'000'000);
  const Parsed parsed(page);
  CHECK(parsed.all("//img[starts-with(@src, 'data:image/jpeg;base64,')]").size() == 30);
  // JPEG starts with FF D8 FF (ITU-T T.81, B.1), which is "/9j/" in base64 (RFC 4648).
  CHECK(parsed.all("//img[starts-with(@src, 'data:image/jpeg;base64,/9j/')]").size() == 30);
  CHECK(says(parsed.all("//img").first().node().attribute("alt").value(), "nock left 3.76 ± 0.30"));

  options.most_still_bytes = 200'000;
  const std::string small = page::page_html(session, test::sample_judgement(session), options);
  CHECK(small.size() < 200'000 + 300'000);
  CHECK(says(small, "of the earliest set-ups would make this page too large"));
  options.stills = false;
  CHECK(Parsed(page::page_html(session, test::sample_judgement(session), options))
            .all("//img")
            .empty());
}

TEST_CASE("fault: a still that is missing or broken is named, not shown") {
  const test::PageFolder folder;
  folder.write("broken.png", "\x89PNG\r\n\x1a\n and then nothing");
  tune::SessionRecord session = test::sample_session(2);
  session.folder = folder.path().string();
  session.setups[0].clips[0].still = "broken.png";
  session.setups[0].clips[1].still = "missing.png";
  const std::string page = page::page_html(session, test::sample_judgement(session));
  CHECK(says(page, "Not shown: broken.png"));
  CHECK(says(page, "Not shown: missing.png"));
  CHECK_FALSE(says(page, "<img"));
}
