// A tuning session as one HTML page that needs nothing but itself: no script, no outside request.
// It opens offline, is read on a phone, prints on A4, and says in words and tables all that its
// charts (inline SVG) and stills (embedded JPEG) show.
//
// The page is well-formed XML as well as HTML, UTF-8. Text of unknown origin is made printable and
// escaped.
#pragma once

#include <cstddef>
#include <filesystem>
#include <functional>
#include <string>

#include "nocktrail/tune/judgement.hpp"
#include "nocktrail/tune/session_data.hpp"

namespace nocktrail::page {

// Where the still of a clip lies; an empty path when there is none.
using StillFinder = std::function<std::filesystem::path(const tune::SetupRecord& setup,
                                                        const tune::ClipRecord& clip)>;

// The clip's own `still`, relative to the session's folder: what page_html does without a finder.
std::filesystem::path still_in_folder(const tune::SessionRecord& session,
                                      const tune::ClipRecord& clip);

struct PageOptions {
  double dead_band_deg = 0.5;  // as the session was judged
  StillFinder still;           // empty: still_in_folder
  bool stills = true;          // false: no pictures, a small page
  // What the embedded stills may take of the page, base64 counted. They are made smaller, down to
  // what can still be read, to stay below; if that is not enough, the oldest set-ups' are named
  // and not shown.
  std::size_t most_still_bytes = 5'500'000;
  // Printed as it is, such as "2026-03-14 10:20 UTC"; empty: no date. Not taken from the clock, so
  // that the same session gives the same page.
  std::string written_at;
};

// `judgement` is judge_session's answer for `session`; a set-up or shot of one that the other does
// not hold is left out. Never throws for what either holds: a number that is not finite is shown
// as missing, a still that cannot be read as such.
std::string page_html(const tune::SessionRecord& session, const tune::SessionJudgement& judgement,
                      const PageOptions& options = {});

// The build sheet alone, one A4 page to print and fill in. Before the session is done it is a page
// that says so and gives the next step.
std::string build_sheet_html(const tune::SessionRecord& session,
                             const tune::SessionJudgement& judgement,
                             const PageOptions& options = {});

}  // namespace nocktrail::page
