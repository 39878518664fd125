// What lets a browser in.
#pragma once

#include <string>
#include <string_view>

namespace nocktrail::serve {

// 128 bits from the system's generator (getrandom(2)) in hexadecimal: short enough for a QR code
// that a phone reads from a step away.
std::string fresh_secret();

// Takes the same time wherever the two differ, so that no guess can be built up byte by byte.
bool same_secret(std::string_view told, std::string_view secret);

}  // namespace nocktrail::serve
