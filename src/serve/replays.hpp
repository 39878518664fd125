// Replays of the session's shots: made when a page asks, and kept among the results.
#pragma once

#include <atomic>
#include <filesystem>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "answer.hpp"
#include "board.hpp"
#include "nocktrail/picture/replay.hpp"
#include "target.hpp"

namespace nocktrail::serve {

class Replays {
 public:
  // `results` as in OutputSettings.
  Replays(std::filesystem::path folder, std::string results, const Board& board);

  // The film of `setup`, `clip`, `shot` (from 1), and with `over_setup`, `over_clip`, `over_shot`
  // that one laid over it. One is made at a time. Throws Refused: 404 no such shot, or its clip is
  // gone; 400 it was not measured; 503 the program is being stopped.
  Answer film(const Target& target);

  // What is being made is given up.
  void stop() { stop_ = true; }

 private:
  struct Wanted {
    picture::ReplayShot shot;
    std::string name;  // "SHA-2": the clip's content and the shot's number
    std::string from;  // all that shows in the film
  };
  Wanted wanted(const Snapshot& snapshot, const Target& target, const std::string& prefix) const;
  std::optional<std::string> kept(const std::string& name) const;
  void keep(const std::string& name, const std::string& film) const;

  std::filesystem::path folder_;
  std::string results_;
  const Board& board_;
  std::mutex making_;
  std::atomic<bool> stop_{false};
};

}  // namespace nocktrail::serve
