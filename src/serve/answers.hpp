// What each request gets, apart from how it is carried.
#pragma once

#include <filesystem>
#include <mutex>
#include <nlohmann/json_fwd.hpp>
#include <string>
#include <string_view>

#include "answer.hpp"
#include "board.hpp"
#include "by_hand.hpp"
#include "refused.hpp"
#include "replays.hpp"
#include "target.hpp"

namespace nocktrail::serve {

// {"error": words}
std::string error_body(std::string_view words);

class Answers {
 public:
  // `results` as in OutputSettings; `phone`: what lets a phone in (phone_view).
  Answers(std::filesystem::path folder, std::string results, Board& board, ByHand& by_hand,
          Replays& replays, const nlohmann::json& phone);

  // For GET. Frames of clips are for one thread at a time. Throws Refused.
  Answer get(const Target& target) const;
  // For POST; what changes something, one at a time. Throws Refused; 409 where somebody else was
  // first.
  Answer post(const Target& target, const std::string& body);

 private:
  std::string in_the_session(std::string words) const;
  Answer still(const Target& target) const;
  Answer from_results(const std::string& name) const;
  Answer leave_out(const std::string& body) const;
  Answer begin_setup(const std::string& body) const;

  std::filesystem::path folder_;
  std::string results_;
  Board& board_;
  ByHand& by_hand_;
  Replays& replays_;
  std::string phone_;
  std::mutex changing_;
};

}  // namespace nocktrail::serve
