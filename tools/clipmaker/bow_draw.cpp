#include "bow_draw.hpp"
