// Reads a set-up from a small TOML file; every quantity is a string with its unit. An annotated
// example is setup_template(), and docs/examples/*.toml.
#pragma once

#include <string>
#include <string_view>

#include "nocktrail/arrow/setup.hpp"

namespace nocktrail::arrow {

// `source` names the text in messages (the file's path). The result has passed check_setup().
// Throws BadInput: syntax with line and column; a missing field; an unknown one with the nearest
// known; a quantity without its unit or out of range.
Setup parse_setup(std::string_view toml, std::string_view source);
Setup read_setup_file(const std::string& path);

std::string setup_template();

}  // namespace nocktrail::arrow
