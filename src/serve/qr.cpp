#include "qr.hpp"

#include <fmt/format.h>
#include <qrencode.h>

#include <memory>

#include "nocktrail/serve/serve.hpp"

namespace nocktrail::serve {
namespace {

// The standard asks for four light squares round the code; two are enough on a screen and leave
// room for the lines around it.
constexpr int kMargin = 2;

class Squares {
 public:
  // The lowest level of correction: nothing soils a screen, and fewer squares are larger ones.
  explicit Squares(const std::string& text)
      : code_(QRcode_encodeString8bit(text.c_str(), 0, QR_ECLEVEL_L), QRcode_free) {}

  explicit operator bool() const { return code_ != nullptr; }
  int side() const { return code_->width; }
  bool dark(int row, int column) const {
    return row >= 0 && column >= 0 && row < side() && column < side() &&
           (code_->data[row * side() + column] & 1U) != 0;
  }

 private:
  std::unique_ptr<QRcode, decltype(&QRcode_free)> code_;
};

}  // namespace

QrDrawing qr_drawing(const std::string& text) {
  QrDrawing out;
  const Squares code(text);
  if (!code) {
    return out;
  }
  out.side = code.side();
  for (int row = 0; row < code.side(); ++row) {
    for (int column = 0; column < code.side();) {
      int end = column;
      while (code.dark(row, end)) {
        ++end;
      }
      if (end > column) {
        out.path += fmt::format("M{} {}h{}v1H{}z", column, row, end - column, column);
      }
      column = end + 1;
    }
  }
  return out;
}

std::string qr_code(const std::string& text, bool coloured) {
  const Squares code(text);
  if (!code) {
    return {};
  }
  std::string out;
  for (int row = -kMargin; row < code.side() + kMargin; row += 2) {
    out += coloured ? "\033[30;107m" : "";
    for (int column = -kMargin; column < code.side() + kMargin; ++column) {
      // What is printed: dark squares in black on white, else the light ones.
      const bool upper = code.dark(row, column) == coloured;
      const bool lower = code.dark(row + 1, column) == coloured;
      out += upper && lower ? "█" : upper ? "▀" : lower ? "▄" : " ";
    }
    out += coloured ? "\033[0m\n" : "\n";
  }
  return out;
}

}  // namespace nocktrail::serve
