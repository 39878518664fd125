#include <qrencode.h>

#include <memory>

#include "nocktrail/serve/serve.hpp"

namespace nocktrail::serve {
namespace {

// The standard asks for four light squares round the code; two are enough on a screen and leave
// room for the lines around it.
constexpr int kMargin = 2;

}  // namespace

std::string qr_code(const std::string& text, bool coloured) {
  // The lowest level of correction: nothing soils a screen, and fewer squares are larger ones.
  const std::unique_ptr<QRcode, decltype(&QRcode_free)> code(
      QRcode_encodeString8bit(text.c_str(), 0, QR_ECLEVEL_L), QRcode_free);
  if (!code) {
    return {};
  }
  const auto dark = [&](int row, int column) {
    return row >= 0 && column >= 0 && row < code->width && column < code->width &&
           (code->data[row * code->width + column] & 1U) != 0;
  };
  std::string out;
  for (int row = -kMargin; row < code->width + kMargin; row += 2) {
    out += coloured ? "\033[30;107m" : "";
    for (int column = -kMargin; column < code->width + kMargin; ++column) {
      // What is printed: dark squares in black on white, else the light ones.
      const bool upper = dark(row, column) == coloured;
      const bool lower = dark(row + 1, column) == coloured;
      out += upper && lower ? "█" : upper ? "▀" : lower ? "▄" : " ";
    }
    out += coloured ? "\033[0m\n" : "\n";
  }
  return out;
}

}  // namespace nocktrail::serve
