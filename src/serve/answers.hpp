// What each request gets, apart from how it is carried.
#pragma once

#include <filesystem>
#include <mutex>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "board.hpp"
#include "refused.hpp"

namespace nocktrail::serve {

struct Answer {
  int status = 200;
  std::string type = "application/json";
  std::string body;
  bool report = false;  // a page of the report, whose style is inside it
};

// An address without what stands before the path, its query taken apart and decoded.
struct Target {
  std::string path;
  std::vector<std::pair<std::string, std::string>> query;

  // Throws Refused (400) for what is no address of ours in form.
  static Target parse(std::string_view target);
  // The first of that name; empty where there is none.
  std::string value(std::string_view name) const;
};

// {"error": words}
std::string error_body(std::string_view words);

class Answers {
 public:
  // `results` as in OutputSettings.
  Answers(std::filesystem::path folder, std::string results, const Board& board);

  // For GET. Throws Refused.
  Answer get(const Target& target) const;
  // For POST, one at a time. Throws Refused; 409 where somebody else was first.
  Answer post(const Target& target, const std::string& body);

 private:
  Answer still(const Target& target) const;
  Answer from_results(const std::string& name) const;
  Answer leave_out(const std::string& body) const;
  Answer begin_setup(const std::string& body) const;

  std::filesystem::path folder_;
  std::string results_;
  const Board& board_;
  std::mutex changing_;
};

}  // namespace nocktrail::serve
