// Where people read.
#pragma once

#include <cstddef>
#include <string>

namespace nocktrail::cli {

// Columns of the terminal that standard output goes to; 0 where it is none.
std::size_t terminal_columns();

// For running text: the terminal's, but no wider than eyes follow; `otherwise` where it is none.
std::size_t text_columns(std::size_t otherwise);

}  // namespace nocktrail::cli
