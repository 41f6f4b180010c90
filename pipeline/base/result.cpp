#include "pipeline/base/result.h"

namespace lookdown {

std::string Fault::message() const {
  std::string text = subject.empty() ? detail : subject + ": " + detail;
  if (!hint.empty()) text += "; " + hint;
  return text;
}

}  // namespace lookdown
