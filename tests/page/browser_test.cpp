// The page in a real browser, by tools/page_check.sh: Debian's Chromium, without a network.
#include <doctest/doctest.h>
#include <fmt/format.h>
#include <sys/wait.h>

#include <algorithm>
#include <cstdlib>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <sstream>
#include <vector>

#include "nocktrail/page/page.hpp"
#include "page_folder.hpp"
#include "sample_session.hpp"

using namespace nocktrail;

namespace {

constexpr int kNoBrowser = 77;

struct Checked {
  int status = -1;
  std::string out;
  std::string err;
  std::vector<std::string> printed;  // the text of each printed page
};

Checked checked(const test::PageFolder& folder, const std::string& page) {
  folder.write("page.html", page);
  const int raw =
      std::system(fmt::format("'{}' '{}' '{}' >'{}' 2>'{}'", NOCKTRAIL_PAGE_CHECK,
                              (folder / "page.html").string(), (folder / "out").string(),
                              (folder / "said").string(), (folder / "err").string())
                      .c_str());
  Checked result{
      WIFEXITED(raw) ? WEXITSTATUS(raw) : -1, folder.read("said"), folder.read("err"), {}};
  if (result.status == kNoBrowser) {
    MESSAGE(result.err);
    return result;
  }
  std::istringstream text(folder.read("out/page.txt"));
  for (std::string one; std::getline(text, one, '\f');) {
    result.printed.push_back(one);
  }
  return result;
}

bool says(const std::string& text, const std::string& words) {
  return text.find(words) != std::string::npos;
}

std::size_t count(const std::string& text, const std::string& words) {
  std::size_t found = 0;
  for (std::size_t at = text.find(words); at != std::string::npos; at = text.find(words, at + 1)) {
    ++found;
  }
  return found;
}

}  // namespace

TEST_CASE("reference: the page in a browser: it renders, asks for nothing, prints, can be read") {
  const test::PageFolder folder;
  // A drawing with some detail in the place of each still.
  cv::Mat still(1800, 1440, CV_8UC3, cv::Scalar(235, 240, 240));
  for (int i = 0; i < 40; ++i) {
    cv::rectangle(still, {30 * i, 40 * i, 200, 90}, cv::Scalar(5 * i, 90, 200 - 4 * i), 4);
  }
  cv::imwrite((folder / "still.png").string(), still);
  const tune::SessionRecord session = test::sample_session();
  const tune::SessionJudgement judgement = test::sample_judgement(session);
  page::PageOptions options;
  options.still = [&](const tune::SetupRecord&, const tune::ClipRecord& clip) {
    return clip.reading.status == ClipStatus::measured ? folder / "still.png"
                                                       : std::filesystem::path();
  };
  const std::string page = page::page_html(session, judgement, options);
  const Checked seen = checked(folder, page);
  if (seen.status == kNoBrowser) {
    return;
  }
  INFO(seen.err);
  CHECK(seen.status == 0);
  CHECK(says(seen.out, "images=30 broken=0"));

  // The browser's parser, another than ours, found the same elements.
  const std::string dom = folder.read("out/dom.html");
  for (const char* opening : {"<td", "<th", "<tr", "<caption", "<svg ", "<circle", "<polyline",
                              "<text ", "<figure", "<img ", "<section", "<li", "<dt", "<dd"}) {
    INFO(std::string(opening));
    CHECK(count(dom, opening) == count(page, opening));
  }

  // Text that can be selected, in print too: words, table cells, labels of charts.
  std::string text;
  for (const std::string& one : seen.printed) {
    text += one;
  }
  for (const char* words : {"Nock left 0.10 ± 0.38 deg", "spine: matched", "evening-35.mp4",
                            "lateral offset (deg)", "shaft length (in)", "nock past the rest (m)",
                            "left: weak", "The arrow shows in too few", "Answer to 1/4 in more"}) {
    INFO(std::string(words));
    CHECK(says(text, words));
  }
  // No page is blank, and the build sheet has the last for itself.
  for (const std::string& one : seen.printed) {
    CHECK(std::count_if(one.begin(), one.end(), [](unsigned char c) { return c > ' '; }) > 100);
  }
  REQUIRE(seen.printed.size() > 5);
  CHECK(says(seen.printed.back(), "Build sheet: Rook Hollow 45, spring set"));
  CHECK(says(seen.printed.back(), "goggles and gloves"));
  CHECK_FALSE(says(seen.printed.back(), "How to read this page"));
  CHECK_FALSE(says(seen.printed[seen.printed.size() - 2], "Tolerance for the set"));
  // First page: what to do, and the table of all set-ups. Two set-ups, three rows of flights and
  // four rows of stills to a page were reckoned; more than that is a layout gone wrong.
  CHECK(says(seen.printed.front(), "Leave the set-up as it is"));
  CHECK(says(seen.printed.front(), "5-bare"));
  MESSAGE("printed pages: " << seen.printed.size());
  CHECK(seen.printed.size() <= 16);
}

TEST_CASE("reference: the build sheet prints on one page of A4, however full it is") {
  const test::PageFolder folder;
  const tune::SessionRecord session = test::sample_session();
  tune::SessionJudgement judgement = test::sample_judgement(session);
  const auto prints_on_one = [&](const char* last_words) {
    const Checked seen = checked(folder, page::build_sheet_html(session, judgement));
    if (seen.status == kNoBrowser) {
      return;
    }
    INFO(seen.err);
    CHECK(seen.status == 0);
    CHECK(says(seen.out, "pages=1 "));
    REQUIRE(seen.printed.size() == 1);
    CHECK(says(seen.printed[0], last_words));
  };
  prints_on_one("goggles and gloves");

  tune::BuildSheet& sheet = *judgement.build_sheet;
  sheet.arrows = 24;
  while (sheet.arrow.size() < 11) {
    sheet.arrow.push_back({"Another quantity with a long name", "a value of some length, in words",
                           "± as much as is allowed"});
    sheet.bow.push_back(sheet.arrow.back());
  }
  for (int i = 0; i < 5; ++i) {
    sheet.cautions.push_back(
        "A caution that takes its time to say what it has to say, as cautions do, and does not fit "
        "on one line of the sheet by any means.");
  }
  sheet.cautions.push_back("The very last words.");
  prints_on_one("The very last words.");
}

TEST_CASE("unit: the check itself finds what is wrong with a page") {
  const test::PageFolder folder;
  const Checked seen = checked(
      folder,
      "<!DOCTYPE html><html lang=\"en\"><head><meta charset=\"utf-8\"><title>x</title></head><body>"
      "<h1>x</h1><img src=\"http://example.invalid/a.png\" alt=\"x\">"
      "<script>console.error('something is amiss')</script>"
      "<div style=\"width: 700px\">w</div></body></html>");
  if (seen.status == kNoBrowser) {
    return;
  }
  CHECK(seen.status == 1);
  CHECK(says(seen.err, "something is amiss"));
  CHECK(says(seen.err, "asks for \"url\":\"http://example.invalid/a.png\""));
  CHECK(says(seen.err, "on a screen of 390 px the page is"));
  CHECK(says(seen.err, "1 of 1 pictures do not show"));
}
