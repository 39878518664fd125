// A QR code for a page.
#pragma once

#include <string>

namespace nocktrail::serve {

// The dark squares of a QR code (ISO/IEC 18004) as the data of an SVG path, one unit to a square,
// the upper left one at 0 0; without the light margin, for which the standard asks four squares.
struct QrDrawing {
  int side = 0;  // squares; 0 for a text that is too long
  std::string path = {};
};
QrDrawing qr_drawing(const std::string& text);

}  // namespace nocktrail::serve
