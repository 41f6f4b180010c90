// People who walk about the site while it is photographed.
#pragma once

#include <vector>

#include "site/site.h"

namespace render {

// Bodies and heads at one moment.
std::vector<Blob> people_at(const Site& site, double time_s);

}  // namespace render
