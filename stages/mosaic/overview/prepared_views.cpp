#include "stages/mosaic/overview/prepared_views.h"

#include <algorithm>
#include <utility>

#include "stages/mosaic/masks/rig_mask.h"
#include "stages/mosaic/masks/transient_objects.h"
#include "stages/mosaic/overview/kept_views.h"
#include "stages/mosaic/roofs/roof_detection.h"
#include "stages/mosaic/roofs/roof_priors.h"
#include "stages/mosaic/roofs/upright_roofs.h"

namespace lookdown::mosaic {
namespace {

/// Colours for views of a raised plane, solved where frames show the same at one spot: on the ground.
ColourModel colours_on_the_ground(FlightRecord& flight, const std::vector<FrameView>& views,
                                  const Canvas& canvas, const std::string& order, RunContext& context) {
  const std::vector<FrameView> on_ground = frame_views(flight, canvas, std::nullopt);
  const ColourModel solved =
      solve_colours(flight, on_ground, survey_frames(flight, on_ground, canvas, order, context));
  ColourModel model = unchanged_colours(views);
  for (std::size_t i = 0; i < views.size(); ++i)
    for (std::size_t j = 0; j < on_ground.size(); ++j)
      if (views[i].frame_index == on_ground[j].frame_index) model[i] = solved[j];
  return model;
}

void leave_out_set_aside(PreparedViews& ready) {
  std::size_t kept = 0;
  for (std::size_t i = 0; i < ready.views.size(); ++i) {
    if (ready.views[i].set_aside) continue;
    if (kept != i) {
      ready.views[kept] = std::move(ready.views[i]);
      ready.survey.frames[kept] = std::move(ready.survey.frames[i]);
      ready.colours[kept] = std::move(ready.colours[i]);
    }
    ++kept;
  }
  ready.views.resize(kept);
  ready.survey.frames.resize(kept);
  ready.colours.resize(kept);
}

/// One look at all frames, down on `ready.heights`.
void look(FlightRecord& flight, const Canvas& canvas, std::optional<double> plane_height,
          const Options& options, RunContext& context, PreparedViews& ready) {
  ready.views = frame_views(flight, canvas, plane_height, options.fill, ready.heights.get());
  ready.survey = survey_frames(flight, ready.views, canvas, options.order, context);
  ready.colours = !options.colour_balance ? unchanged_colours(ready.views)
                  : plane_height ? colours_on_the_ground(flight, ready.views, canvas, options.order, context)
                                 : solve_colours(flight, ready.views, ready.survey);
  correct_survey(ready.survey, ready.views, ready.colours);
  const std::vector<RidingPart> riding = riding_parts(flight, ready.views, ready.survey);
  leave_out(riding, ready.views, ready.survey);
  ready.notes.clear();
  for (const RidingPart& part : riding) ready.notes.push_back(in_words(part));
}

/// What is known to stand upright is looked straight down on; the rest is shown out of one frame or joined.
void look_down_on_roofs(FlightRecord& flight, const Canvas& canvas, const Options& options,
                        RunContext& context, PreparedViews& ready) {
  ready.leaning = placed_roofs(flight.placement, canvas, ready.views, ready.survey);
  std::vector<RaisedPlane> planes = flight.placement.raised_planes;
  for (const RaisedArea& swept : swept_roofs(ready.views, ready.survey, ready.leaning)) {
    planes.push_back(as_plane(swept, flight.placement, canvas));
    if (must_be_joined(ready.views, swept)) ready.leaning.push_back(swept);
  }
  auto heights = std::make_shared<const surface::HeightGrid>(surface::flat_roofs(flight, planes, context));
  leave_out_upright(*heights, flight.placement, canvas, ready.leaning);
  if (heights->empty()) return;
  ready.heights = std::move(heights);
  ready.some_upright = true;
  look(flight, canvas, std::nullopt, options, context, ready);
}

}  // namespace

PreparedViews prepare_views(FlightRecord& flight, const Canvas& canvas, std::optional<double> plane_height,
                            const Options& options, RunContext& context) {
  const KeptViews kept(flight, canvas, plane_height, options, context);
  if (std::optional<PreparedViews> found = kept.find()) return *std::move(found);
  const std::int64_t faults_before = context.scheduler.faults_met();
  PreparedViews ready;
  ready.heights = std::make_shared<const surface::HeightGrid>(surface::read(flight, context.out));
  look(flight, canvas, plane_height, options, context, ready);
  const bool any_read = std::any_of(ready.survey.frames.begin(), ready.survey.frames.end(),
                                    [](const SurveyFrame& frame) { return !frame.bgr.empty(); });
  if (any_read && options.order == "best" && options.whole_roofs && !plane_height && ready.heights->empty())
    look_down_on_roofs(flight, canvas, options, context, ready);
  // A single rule is taken by its word: nothing but it has a say.
  if (options.order == "best") dislike_passing_things(ready.views, ready.survey);
  // A card that was pulled comes back.
  if (context.scheduler.faults_met() == faults_before) kept.keep(ready);
  return ready;
}

void keep_what_is_shown(PreparedViews& ready) {
  leave_out_set_aside(ready);
  keep_fills_to_gaps(ready.views, ready.survey);
}

}  // namespace lookdown::mosaic
