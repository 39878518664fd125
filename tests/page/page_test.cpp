#include "nocktrail/page/page.hpp"

#include <doctest/doctest.h>

#include <fstream>

#include "sample_session.hpp"
using namespace nocktrail;

TEST_CASE("x") {
  const auto s = test::sample_session();
  std::ofstream("/tmp/P-page.html") << page::page_html(s, test::sample_judgement(s));
}
