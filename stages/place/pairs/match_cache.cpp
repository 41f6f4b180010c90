#include "stages/place/pairs/match_cache.h"

#include <algorithm>
#include <cstring>
#include <map>

namespace lookdown::place {
namespace {

/// Of how pairs are compared: change it when `tie_unguided` or `tie_guided` would answer otherwise.
constexpr const char* kPairsVersion = "pairs/2";
constexpr std::size_t kKeyBytes = 32;

std::string_view bytes_of(const double* numbers, std::size_t count) {
  return {reinterpret_cast<const char*>(numbers), count * sizeof(double)};
}

std::string words_of(const TieFrame& f) {
  const Camera& c = f.camera;
  const double numbers[] = {double(c.width_px),
                            double(c.height_px),
                            c.fx_px,
                            c.fy_px,
                            c.cx_px,
                            c.cy_px,
                            c.k1,
                            c.k2,
                            c.p1,
                            c.p2,
                            c.k3,
                            double(c.projection),
                            double(f.leading.size())};
  return digest(pack(f.features) + std::string(bytes_of(numbers, std::size(numbers))));
}

template <class T>
void append(std::string& text, const T& value) {
  text.append(reinterpret_cast<const char*>(&value), sizeof value);
}

/// Takes values off the front of a text; `good` becomes false when it is too short.
struct Reader {
  std::string_view text;
  bool good = true;
  template <class T>
  T next() {
    T value{};
    if (text.size() < sizeof value) {
      good = false;
      return value;
    }
    std::memcpy(&value, text.data(), sizeof value);
    text.remove_prefix(sizeof value);
    return value;
  }
};

void append(std::string& text, const std::optional<Tie>& tie) {
  append(text, std::uint32_t(tie ? tie->matches.size() : 0));
  if (!tie) return;
  for (int i = 0; i < 9; ++i) append(text, tie->b_from_a.matrix(i / 3, i % 3));
  for (const Match& m : tie->matches) {
    append(text, std::uint16_t(m.a));
    append(text, std::uint16_t(m.b));
  }
}

/// A tie without matches is none.
std::optional<Tie> next_tie(Reader& reader) {
  const auto count = reader.next<std::uint32_t>();
  if (count == 0 || count * 4 > reader.text.size()) return std::nullopt;
  Tie tie;
  for (int i = 0; i < 9; ++i) tie.b_from_a.matrix(i / 3, i % 3) = reader.next<double>();
  for (std::uint32_t i = 0; i < count; ++i) {
    const int a = reader.next<std::uint16_t>(), b = reader.next<std::uint16_t>();
    tie.matches.push_back({a, b});
  }
  return tie;
}

}  // namespace

PairMemory::PairMemory(const Cache& cache, const std::vector<TieFrame>& frames) : cache_(cache) {
  for (const TieFrame& f : frames) frame_words_.push_back(words_of(f));
  const auto kept = cache_.find(Cache::key(kPairsVersion, "", ""));
  if (!kept) return;
  Reader reader{*kept};
  while (reader.good && reader.text.size() > kKeyBytes) {
    const std::string name(reader.text.substr(0, kKeyBytes));
    reader.text.remove_prefix(kKeyBytes);
    auto tie = next_tie(reader);
    if (reader.good) answers_[name] = {std::move(tie), false};
  }
}

std::string PairMemory::key(int a, int b, std::string_view question) const {
  return digest(frame_words_[std::size_t(a)] + frame_words_[std::size_t(b)] + std::string(question));
}

std::optional<std::optional<Tie>> PairMemory::recall(int a, int b, std::string_view question) const {
  const auto found = answers_.find(key(a, b, question));
  if (found == answers_.end()) return std::nullopt;
  std::optional<Tie> tie = found->second.tie;
  if (tie) tie->a = a, tie->b = b;
  return tie;
}

void PairMemory::learn(int a, int b, std::string_view question, const std::optional<Tie>& answer) {
  const auto [entry, added] = answers_.try_emplace(key(a, b, question));
  if (added) entry->second.tie = answer;
  entry->second.asked = true;
}

void PairMemory::keep() const {
  // In order of the keys, so that the same answers are the same bytes.
  std::map<std::string_view, const Answer*> ordered;
  for (const auto& [name, answer] : answers_)
    if (answer.asked) ordered[name] = &answer;
  std::string text;
  for (const auto& [name, answer] : ordered) {
    text += name;
    append(text, answer->tie);
  }
  cache_.keep(Cache::key(kPairsVersion, "", ""), text);
}

}  // namespace lookdown::place
