// The pages' own files, put into the program when it is built (src/serve/pages).
#pragma once

#include <string_view>

namespace nocktrail::serve {

struct Page {
  const char* path;
  const char* type;
  std::string_view text;
};

// null where there is none.
const Page* page_at(std::string_view path);

}  // namespace nocktrail::serve
