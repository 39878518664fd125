// Writes frames and sound to an MP4 file through libav*.
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "spec.hpp"

namespace clipmaker {

// Eight-bit 4:2:0 planes in stored orientation.
struct StoredFrame {
  int width = 0;
  int height = 0;
  std::vector<std::uint8_t> y, u, v;
  void resize(int w, int h) {
    width = w;
    height = h;
    y.resize(static_cast<std::size_t>(w) * static_cast<std::size_t>(h));
    u.resize(y.size() / 4);
    v.resize(y.size() / 4);
  }
};

struct Sound {
  int rate_hz = 48000;
  std::vector<float> mono;  // empty: no sound track
};

class Encoder {
 public:
  // Throws std::runtime_error when the file or the codec cannot be opened.
  Encoder(const std::string& path, const PictureSpec& picture, Sound sound, int threads);
  ~Encoder();
  Encoder(const Encoder&) = delete;
  Encoder& operator=(const Encoder&) = delete;

  void write(const StoredFrame& frame);
  void finish();

 private:
  struct State;
  std::unique_ptr<State> state_;
};

}  // namespace clipmaker
