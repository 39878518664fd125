// A line on the terminal that is overwritten as the work goes on; silent anywhere else, where it
// would fill logs.
#pragma once

#include <chrono>
#include <string>

namespace nocktrail::cli {

class ProgressLine {
 public:
  explicit ProgressLine(bool wanted);
  ProgressLine(const ProgressLine&) = delete;
  ProgressLine& operator=(const ProgressLine&) = delete;
  ~ProgressLine() { clear(); }

  // At most ten times a second; cut to the terminal's width.
  void show(const std::string& words);
  void clear();

 private:
  bool shown_;
  bool drawn_ = false;
  std::chrono::steady_clock::time_point last_{};
};

}  // namespace nocktrail::cli
