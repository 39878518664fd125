// What a request gets.
#pragma once

#include <string>

namespace nocktrail::serve {

struct Answer {
  int status = 200;
  std::string type = "application/json";
  std::string body;
  bool report = false;  // a page of the report, whose style is inside it
};

}  // namespace nocktrail::serve
