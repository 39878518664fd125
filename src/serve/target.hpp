// The address of a request, without what stands before the path, its query taken apart and decoded.
#pragma once

#include <string>
#include <string_view>
#include <utility>
#include <vector>

namespace nocktrail::serve {

struct Target {
  std::string path;
  std::vector<std::pair<std::string, std::string>> query;

  // Throws Refused (400) for what is no address of ours in form.
  static Target parse(std::string_view target);
  // The first of that name; empty where there is none.
  std::string value(std::string_view name) const;
  // A whole number from `least` to `most`, in digits alone. Throws Refused (400) for anything else.
  long number(std::string_view name, long least, long most) const;
};

}  // namespace nocktrail::serve
