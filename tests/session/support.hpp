// A session's folder of throw-away files, and a reader that needs no video.
#pragma once

#include <unistd.h>

#include <atomic>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <mutex>
#include <string>
#include <vector>

#include "nocktrail/session/session.hpp"
#include "scratch_folder.hpp"

namespace nocktrail::session::test {

namespace fs = std::filesystem;

using nocktrail::scratch::content;
using nocktrail::scratch::Folder;

inline bool says(const std::string& text, const std::string& words) {
  return text.find(words) != std::string::npos;
}

inline bool any_says(const std::vector<std::string>& lines, const std::string& words) {
  for (const std::string& line : lines) {
    if (says(line, words)) {
      return true;
    }
  }
  return false;
}

// Reads a "clip" whose text is its nock_right in degrees ("-2.5"), "none" for no shot, "broken"
// for an unreadable file, "bug" for a fault of the program. Counts and remembers what it was asked.
class FakeReader {
 public:
  ReadFunction function() {
    return [this](const fs::path& path, const ReadClipOptions& options, const Progress& progress) {
      return read(path, options, progress);
    };
  }
  int calls() const { return calls_; }
  std::vector<ReadClipOptions> asked() const {
    const std::lock_guard<std::mutex> guard(mutex_);
    return asked_;
  }

 private:
  Reading read(const fs::path& path, const ReadClipOptions& options, const Progress& progress) {
    ++calls_;
    {
      const std::lock_guard<std::mutex> guard(mutex_);
      asked_.push_back(options);
    }
    if (progress && !progress("reading", 0.5)) {
      throw Interrupted{};
    }
    const std::string text = content(path);
    Reading reading;
    reading.clip.path = path.string();
    reading.clip.codec = "fake";
    reading.clip.width = 720;
    reading.clip.height = 1280;
    reading.clip.frames = 100;
    reading.clip.duration_s = 0.4;
    reading.clip.capture_fps = 240.0;
    reading.camera.focal_px = 1000.0;
    if (text == "bug") {
      throw std::runtime_error("index out of range");
    }
    if (text == "broken" || text.empty()) {
      reading.status = ClipStatus::error;
      reading.reason = path.string() + ": is not a video file";
      return reading;
    }
    if (text == "none") {
      reading.status = ClipStatus::no_shot;
      reading.reason = "no arrow was seen";
      return reading;
    }
    reading.status = ClipStatus::measured;
    Shot shot;
    shot.status = ShotStatus::measured;
    shot.exit_s = 0.2;
    shot.nock_right_deg = Measured{std::strtod(text.c_str(), nullptr), 0.3};
    shot.nock_high_deg = Measured{1.5, 0.5};
    shot.right_high_correlation = 0.25;
    shot.reference_index = 17;
    FittedFrame frame;
    frame.index = 18;
    frame.t_s = 0.075;
    frame.nock_px = {100.5, 200.25};
    frame.nock_z_m = 1.25;
    frame.reference_from_frame(0, 2) = 3.5;
    shot.fitted.push_back(frame);
    reading.shots.push_back(shot);
    return reading;
  }

  std::atomic<int> calls_{0};
  mutable std::mutex mutex_;
  std::vector<ReadClipOptions> asked_;
};

// Draws a "still" that says how it was asked for.
inline DrawFunction fake_draw() {
  return [](const Reading& reading, const StillRequest& request) {
    return "still of shot " + std::to_string(request.shot) + " of " +
           std::to_string(reading.shots.size()) +
           (request.hand == Hand::left ? ", left" : ", right");
  };
}

inline ReadSessionOptions fakes(FakeReader& reader) {
  ReadSessionOptions options;
  options.read = reader.function();
  options.draw = fake_draw();
  return options;
}

inline const tune::ClipRecord* clip_named(const tune::SessionRecord& record,
                                          const std::string& file) {
  for (const tune::SetupRecord& setup : record.setups) {
    for (const tune::ClipRecord& clip : setup.clips) {
      if (clip.file == file) {
        return &clip;
      }
    }
  }
  return nullptr;
}

}  // namespace nocktrail::session::test
