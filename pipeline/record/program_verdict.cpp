#include "pipeline/record/program_verdict.h"

#include <algorithm>

namespace lookdown {

Decision decision_but_for_drop_by_person(const Decision& decision) {
  Decision own = decision;
  if (decision.verdict != Verdict::drop || !decision.by_person) return own;
  own.by_person = false;
  own.verdict = Verdict::keep;
  for (const Reason& reason : decision.reasons) own.verdict = std::max(own.verdict, reason.asks_for);
  return own;
}

}  // namespace lookdown
