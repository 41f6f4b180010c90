#include "pipeline/record/program_verdict.h"

#include <algorithm>

namespace lookdown {

Verdict verdict_but_for_drop_by_person(const Decision& decision) {
  if (!dropped_by_person_alone(decision)) return decision.verdict;
  Verdict verdict = Verdict::keep;
  for (const Reason& reason : decision.reasons) verdict = std::max(verdict, reason.asks_for);
  return verdict;
}

}  // namespace lookdown
