// A part of an answer's body: players of films ask for one, some for nothing else.
#pragma once

#include <string_view>

#include "answer.hpp"

namespace nocktrail::serve {

// Takes from a body what the header Range asks for (RFC 9110, 14.2): one range of bytes makes it a
// 206, one beyond its end a 416. Anything else, several ranges too, leaves it whole.
void take_range(Answer& answer, std::string_view range);

}  // namespace nocktrail::serve
