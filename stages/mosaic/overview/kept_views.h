// What all frames tell together, kept in the cache: a person who drops frames need not wait for it again.
#pragma once

#include <optional>
#include <string>

#include "pipeline/record/flight_record.h"
#include "pipeline/record/run_context.h"
#include "stages/mosaic/canvas.h"
#include "stages/mosaic/mosaic.h"
#include "stages/mosaic/overview/prepared_views.h"

namespace lookdown::mosaic {

/// Prepared views under a key of all that they are made from. That a person dropped frames that the program
/// would have used does not count. Each frame's part is an entry of its own, so that no more than one of them
/// is held twice. The arguments must outlive it.
class KeptViews {
 public:
  KeptViews(const FlightRecord&, const Canvas&, std::optional<double> plane_height, const Options&,
            const RunContext&);

  /// As `prepare_views` would make them of the same arguments, to the bit; empty unless all of it is there.
  [[nodiscard]] std::optional<PreparedViews> find() const;
  void keep(const PreparedViews&) const;

 private:
  [[nodiscard]] std::string key_of_frame(std::size_t view) const;
  const FlightRecord& flight_;
  const Canvas& canvas_;
  std::optional<double> plane_height_;
  bool fill_;
  const RunContext& context_;
  std::string key_;
};

}  // namespace lookdown::mosaic
