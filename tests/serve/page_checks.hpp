// What is looked at in every page. NOCKTRAIL_SCREENSHOTS=DIR keeps pictures of what was seen.
#pragma once

#include <doctest/doctest.h>

#include <cstdlib>
#include <string>

#include "browser.hpp"
#include "served.hpp"

namespace nocktrail::serve::test {

inline void keep_picture(Browser& browser, const std::string& name) {
  if (const char* folder = std::getenv("NOCKTRAIL_SCREENSHOTS")) {
    fs::create_directories(folder);
    browser.picture(fs::path(folder) / (name + ".png"));
  }
}

inline bool shows(Browser& browser, const std::string& selector, const std::string& words) {
  return eventually([&] { return says(browser.text(selector), words); });
}

// As wide as the screen, and whatever is touched large enough.
inline void check_layout(Browser& browser, int width) {
  CHECK(browser.value("document.documentElement.scrollWidth") <= width);
  CHECK(browser.value(
            "Array.from(document.querySelectorAll('button, select, .button, summary, "
            ".shots a, input:not([type=file])')).filter(e => e.offsetParent && "
            "(e.offsetHeight < 44 || e.offsetWidth < 44)).map(e => e.outerHTML).join()") == "");
  // Each field has its words, each picture too.
  CHECK(browser.value("Array.from(document.querySelectorAll('input, select')).filter(e => "
                      "!e.labels.length).length") == 0);
  CHECK(browser.value("Array.from(document.images).filter(e => !e.alt).length") == 0);
}

}  // namespace nocktrail::serve::test
