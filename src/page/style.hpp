// The page's look: a workshop logbook, ruled lines and few colours.
#pragma once

namespace nocktrail::page {

// CSS. Holds no '<', '>' or '&': inside <style> they would be escaped for XML and not for HTML.
const char* style_sheet();

// Of the charts: told apart in lightness too, and each use has its own line, mark or label, so that
// nothing is lost without colour.
inline constexpr const char* kInk = "#1f2933";
inline constexpr const char* kSoft = "#52606d";
inline constexpr const char* kGrid = "#dfe3e8";
inline constexpr const char* kDeadBand = "#ece6d3";
inline constexpr const char* kBlue = "#1d5f99";
inline constexpr const char* kBlueFill = "#b9d3ea";
inline constexpr const char* kRust = "#a8400a";

}  // namespace nocktrail::page
