#include "nocktrail/rules/words.hpp"

#include <doctest/doctest.h>

using namespace nocktrail;
using namespace nocktrail::rules;

TEST_CASE("unit: offsets in words") {
  CHECK(lateral_words({-2.41, 0.18}) == "nock left 2.41 ± 0.18 deg");
  CHECK(lateral_words({2.41, 0.18}) == "nock right 2.41 ± 0.18 deg");
  CHECK(vertical_words({0.84, 0.62}) == "nock high 0.8 ± 0.6 deg");
  CHECK(vertical_words({-0.84, 0.62}) == "nock low 0.8 ± 0.6 deg");
  CHECK(lateral_words({-0.001, 0.18}) == "nock in line 0.00 ± 0.18 deg");
}

TEST_CASE("unit: names of unknown origin cannot drive the terminal") {
  CHECK(printable("shot.mp4") == "shot.mp4");
  CHECK(printable("Schuß 1.mp4") == "Schuß 1.mp4");
  CHECK(printable("a\x1b[31mb\n") == "a?[31mb?");
  CHECK(printable("a\xff\xfe.mp4") == "a??.mp4");
  CHECK(printable("a\xc2\x9b") == "a?");  // the one-byte form of ESC [
  // RFC 3629, section 3: overlong forms and surrogates are not UTF-8.
  CHECK(printable("\xc0\xaf") == "??");
  CHECK(printable("\xed\xa0\x80") == "???");
  CHECK(printable("\xf0\x9f\x8f\xb9") == "\xf0\x9f\x8f\xb9");
  CHECK(printable("cut\xf0\x9f") == "cut??");
}
