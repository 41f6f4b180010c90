#include "pipeline/imaging/partial_jpeg/scan_walk.h"

#include <algorithm>
#include <array>
#include <map>
#include <utility>

namespace lookdown {
namespace {

constexpr int kReaders = 4;
// Readers are checked after so many steps; what a step takes is bounded by the longest code with its value,
// so that they stay inside the padding.
constexpr int kStepsAtOnce = 64;
constexpr std::uint64_t kLongestStep = HuffmanTable::kLongest + 15;
static_assert(2 * kStepsAtOnce * kLongestStep < ScanBits::kPadding);
constexpr std::uint64_t kLeastBitsOfReader = 16384;
constexpr int kMostBlocksOfMcu = 10;  // T.81, B.2.3
constexpr std::size_t kSurelyInStep =
    4096;  // blocks after which an impossible code is damage, not a reader out of step

/// One of the two places in a block: before its DC code, or among its AC codes.
struct State {
  const CodeStrides::Stride* strides = nullptr;
  std::array<const State*, 2> after{};  ///< a stride that does not end the block, and one that does
  std::uint64_t begins_block = 0;
  std::uint64_t ends_mcu = 0;  ///< when its block ends
  const HuffmanTable *dc = nullptr, *ac = nullptr;
};

/// The states of all blocks of a minimum coded unit, in a ring.
class McuStates {
 public:
  explicit McuStates(const JpegHeaders& headers)
      : states_(static_cast<std::size_t>(2 * headers.blocks_of_mcu())) {
    std::size_t at = 0;
    for (const JpegComponent& c : headers.components)
      for (int block = 0; block < c.across * c.down; ++block, at += 2) {
        const HuffmanTable &dc = *headers.dc[c.dc_table], &ac = *headers.ac[c.ac_table];
        const State* following = &states_[(at + 2) % states_.size()];
        const State* inside = &states_[at + 1];
        const std::uint64_t last = at + 2 == states_.size();
        states_[at] = {strides(&dc, ac), {inside, following}, 1, last, &dc, &ac};
        states_[at + 1] = {strides(nullptr, ac), {inside, following}, 0, last, &dc, &ac};
      }
  }
  [[nodiscard]] const State* first() const { return states_.data(); }

 private:
  const CodeStrides::Stride* strides(const HuffmanTable* dc, const HuffmanTable& ac) {
    auto& made = tables_[{dc, &ac}];
    if (!made) made = std::make_unique<CodeStrides>(dc, ac);
    return made->strides.data();
  }

  std::vector<State> states_;
  std::map<std::pair<const HuffmanTable*, const HuffmanTable*>, std::unique_ptr<CodeStrides>> tables_;
};

struct Reader {
  std::uint64_t bit = 0;
  const State* state = nullptr;
  std::uint64_t coefficients = 0;   ///< AC coefficients of this block that are behind
  ScanWalk::Block* next = nullptr;  ///< where the block that is being read, or comes next, is noted
  std::uint64_t mcus_to_restart = 0;
  std::size_t interval = 0;
  bool stuck = false;  ///< at a code that cannot be
};

/// A reader, where it began, and how far it is to go.
struct Run {
  Reader reader;
  ScanWalk::Block* blocks = nullptr;
  std::uint64_t until = 0;
  bool sure = false;  ///< began where a minimum coded unit begins
  [[nodiscard]] std::size_t count() const { return static_cast<std::size_t>(reader.next - blocks); }
};

struct Walk {
  const JpegHeaders& headers;
  const ScanBits& bits;
  McuStates states;
  std::size_t blocks_of_mcu, wanted;  // blocks
  std::uint64_t restart_interval;

  Walk(const JpegHeaders& h, const ScanBits& b)
      : headers(h),
        bits(b),
        states(h),
        blocks_of_mcu(static_cast<std::size_t>(h.blocks_of_mcu())),
        wanted(static_cast<std::size_t>(h.mcu_columns()) * h.mcu_rows() * blocks_of_mcu),
        restart_interval(static_cast<std::uint64_t>(h.restart_interval)) {}

  /// Damage, or a reader that is not in step yet: that one starts anew one bit on.
  void meet_impossible_code(Run& run) const {
    Reader& reader = run.reader;
    if (run.sure || run.count() >= kSurelyInStep) {
      reader.stuck = true;
      return;
    }
    reader = {reader.bit + 1, states.first(), 0, run.blocks, 0, 0, false};
  }

  void begin_next_interval(Run& run) const {
    Reader& reader = run.reader;
    if (reader.mcus_to_restart != 0 || restart_interval == 0) return;
    reader.mcus_to_restart = restart_interval;
    ++reader.interval;
    if (reader.interval >= bits.intervals().size()) return;
    if (reader.bit > bits.intervals()[reader.interval]) reader.stuck = true;
    reader.bit = bits.intervals()[reader.interval];
  }

  /// One code: those that are too long for a stride, and those near the end of a full block, which has no
  /// code for its end.
  [[gnu::noinline]] void step_by_code(Run& run) const {
    Reader& reader = run.reader;
    if (reader.stuck) return;
    const std::uint64_t window = bits.at(reader.bit);
    const State& state = *reader.state;
    const HuffmanTable::Code code =
        (state.begins_block ? state.dc : state.ac)->first_of(static_cast<std::uint32_t>(window >> 48));
    if (code.length == 0) return meet_impossible_code(run);
    const int size = state.begins_block ? code.symbol : code.symbol & 15;
    if (state.begins_block) {
      if (size > 11) return meet_impossible_code(run);
      const auto value = static_cast<std::uint32_t>(size == 0 ? 0 : (window << code.length) >> (64 - size));
      reader.next->word = reader.bit << 16 | static_cast<std::uint16_t>(extended(value, size));
      ++reader.next;
      reader.coefficients = 0;
      reader.state = state.after[0];
      reader.bit += code.length + size;
      return;
    }
    const int run_length = code.symbol >> 4;
    const bool ends = size == 0 && run_length != 15;
    if (!ends) reader.coefficients += run_length + 1;
    if (reader.coefficients > 63) return meet_impossible_code(run);
    reader.bit += code.length + size;
    if (!ends && reader.coefficients < 63) return;
    reader.coefficients = 0;
    reader.state = state.after[1];
    if (restart_interval != 0 && state.ends_mcu) {
      --reader.mcus_to_restart;
      begin_next_interval(run);
    }
  }

  template <bool restarts>
  [[gnu::always_inline]] void step(Run& run, Reader& reader) const {
    const State* state = reader.state;
    const CodeStrides::Stride stride = state->strides[bits.at(reader.bit) >> (64 - CodeStrides::kBits)];
    const std::uint64_t coefficients = reader.coefficients + stride.advance();
    if (coefficients >= 63) [[unlikely]] {
      run.reader = reader;
      step_by_code(run);
      reader = run.reader;
      return;
    }
    // No branch on what the stream holds from here on: it cannot be foreseen.
    reader.next->word = reader.bit << 16 | stride.dc_difference();
    reader.next += state->begins_block;
    reader.bit += stride.bits();
    const std::uint64_t ends = stride.ends_block();
    reader.coefficients = coefficients & (ends - 1);
    reader.state = state->after[ends];
    if constexpr (restarts) {
      reader.mcus_to_restart -= ends & state->ends_mcu;
      if (reader.mcus_to_restart == 0) [[unlikely]] {
        run.reader = reader;
        begin_next_interval(run);
        reader = run.reader;
      }
    }
  }

  template <bool restarts, int readers>
  void steps(Run* runs) const {
    std::array<Reader, readers> reader;
    for (int i = 0; i < readers; ++i) reader[i] = runs[i].reader;
    for (int n = 0; n < kStepsAtOnce; ++n)
      for (int i = 0; i < readers; ++i) step<restarts>(runs[i], reader[i]);
    for (int i = 0; i < readers; ++i) runs[i].reader = reader[i];
  }

  template <int readers>
  void steps(Run* runs) const {
    restart_interval != 0 ? steps<true, readers>(runs) : steps<false, readers>(runs);
  }

  /// Runs all side by side until each has come to its end. One that has is set back to there after every
  /// round: idle work, but none of it counts.
  void run_all(std::array<Run, kReaders>& runs) const {
    std::array<Reader, kReaders> stopped;
    std::array<bool, kReaders> done{};
    while (!std::all_of(done.begin(), done.end(), [](bool d) { return d; })) {
      steps<kReaders>(runs.data());
      for (int i = 0; i < kReaders; ++i) {
        if (done[i]) {
          runs[i].reader = stopped[i];
        } else if (runs[i].reader.bit >= runs[i].until || runs[i].reader.stuck || runs[i].count() >= wanted) {
          done[i] = true;
          stopped[i] = runs[i].reader;
        }
      }
    }
  }

  [[nodiscard]] bool at_end(const Run& run) const {
    return run.reader.stuck || run.reader.bit >= bits.size() || run.count() > wanted;
  }

  /// Reads on with one reader; false when it can go no further.
  bool read_on(Run& run) const {
    if (at_end(run)) return false;
    steps<1>(&run);
    return true;
  }

  /// Places in two runs where both begin a minimum coded unit at the same bit, or none. The run before is
  /// right from block `from` on.
  std::optional<std::pair<std::size_t, std::size_t>> meeting(Run& before, std::size_t from,
                                                             const Run& after) const {
    std::size_t a = from, b = 0;
    while (b < after.count()) {
      while (a >= before.count())
        if (!read_on(before)) return std::nullopt;
      const std::uint64_t here = before.blocks[a].first_bit(), there = after.blocks[b].first_bit();
      if (here == there) return std::pair{a, b};
      (here < there ? a : b) += blocks_of_mcu;
    }
    return std::nullopt;
  }
};

/// Readers spread over the stream; where there are restart markers, they start at those.
std::array<Run, kReaders> spread(const Walk& walk, ScanWalk::Block* storage, std::size_t capacity) {
  std::array<Run, kReaders> runs;
  const auto& intervals = walk.bits.intervals();
  const std::uint64_t share = std::max(kLeastBitsOfReader, walk.bits.size() / kReaders);
  for (int i = 0; i < kReaders; ++i) {
    Run& run = runs[i];
    run.blocks = storage + static_cast<std::size_t>(i) * capacity;
    run.sure = i == 0 || walk.restart_interval != 0;
    std::uint64_t bit = std::min(i * share, walk.bits.size());
    std::size_t interval = 0;
    if (walk.restart_interval != 0) {
      const auto from = std::lower_bound(intervals.begin(), intervals.end(), bit);
      bit = from == intervals.end() ? walk.bits.size() : *from;
      interval = static_cast<std::size_t>(from - intervals.begin());
    }
    run.reader = {bit, walk.states.first(), 0, run.blocks, walk.restart_interval, interval, false};
    run.until = walk.bits.size();
    if (i > 0) runs[i - 1].until = bit;
  }
  return runs;
}

}  // namespace

std::optional<ScanWalk> ScanWalk::over(const JpegHeaders& headers, const ScanBits& bits) {
  if (headers.blocks_of_mcu() > kMostBlocksOfMcu) return std::nullopt;
  if (headers.restart_interval == 0 && bits.intervals().size() > 1) return std::nullopt;
  const Walk walk(headers, bits);
  if (bits.size() < walk.wanted) return std::nullopt;  // a block takes more than one bit
  const std::size_t capacity = walk.wanted + 4 * kStepsAtOnce;
  ScanWalk out;
  out.storage_.reset(new Block[kReaders * capacity]);
  auto runs = spread(walk, out.storage_.get(), capacity);
  walk.run_all(runs);

  std::size_t have = 0, from = 0;
  Run* run = &runs[0];
  for (int i = 1; i < kReaders; ++i) {
    const auto met = walk.meeting(*run, from, runs[i]);
    if (!met) continue;
    out.pieces_.push_back({have, run->blocks + from});
    have += met->first - from;
    run = &runs[i];
    from = met->second;
  }
  out.pieces_.push_back({have, run->blocks + from});
  const auto complete = [&] { return have + run->count() - from > walk.wanted; };
  while (!complete() && walk.read_on(*run)) {
  }
  const std::size_t last = have + run->count() - from;
  if (last < walk.wanted) return std::nullopt;
  // The bit after the last block: where one more was begun, or where the reader stands between two.
  const std::uint64_t end = last > walk.wanted ? out.block(walk.wanted).first_bit() : run->reader.bit;
  const bool between = last > walk.wanted || run->reader.state->begins_block;
  if (!between || end > bits.size()) return std::nullopt;
  return out;
}

}  // namespace lookdown
