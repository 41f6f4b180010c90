# For a build from nothing. Headers of other libraries that most files read are compiled once for all, and the files of some folders, in which
# templates take longer to expand than the code itself, are compiled several at a time. The debug preset does without, so that a file
# that forgets an include is found.
set(precompiled_source ${CMAKE_BINARY_DIR}/precompiled.cpp)
file(GENERATE OUTPUT ${precompiled_source} CONTENT "")
add_library(lookdown_precompiled STATIC ${precompiled_source})
target_link_libraries(lookdown_precompiled PRIVATE lookdown_warnings lookdown_opencv Eigen3::Eigen)
target_precompile_headers(lookdown_precompiled PRIVATE
  <algorithm> <array> <cmath> <filesystem> <functional> <map> <numeric> <optional> <string> <vector>
  <opencv2/core.hpp> <opencv2/imgproc.hpp> <Eigen/Core> <Eigen/Geometry>)

if(CMAKE_CXX_COMPILER_ID STREQUAL "GNU")
  # GCC 12 takes std::vector<std::string>::push_back("text") for a read out of bounds (GCC bug 105651 again) where the library's headers no
  # longer count as the system's.
  target_compile_options(lookdown_warnings INTERFACE -Wno-array-bounds -Wno-stringop-overread -Wno-stringop-overflow)
endif()

function(use_precompiled_below folder)
  get_property(targets DIRECTORY ${folder} PROPERTY BUILDSYSTEM_TARGETS)
  foreach(target ${targets})
    get_target_property(type ${target} TYPE)
    if(type MATCHES "STATIC_LIBRARY|EXECUTABLE")
      get_target_property(options ${target} COMPILE_OPTIONS)
      if(NOT "-O0" IN_LIST options)  # the compiled headers are those of an optimised build
        target_precompile_headers(${target} REUSE_FROM lookdown_precompiled)
      else()
        set_target_properties(${target} PROPERTIES UNITY_BUILD ON UNITY_BUILD_BATCH_SIZE 0)
      endif()
    endif()
  endforeach()
  get_property(folders DIRECTORY ${folder} PROPERTY SUBDIRECTORIES)
  foreach(below ${folders})
    use_precompiled_below(${below})
  endforeach()
endfunction()

foreach(target commands stage_report stage_measure stage_plan assemble_run pipeline_record pipeline_base)
  set_target_properties(${target} PROPERTIES UNITY_BUILD ON UNITY_BUILD_BATCH_SIZE 7)
endforeach()
foreach(folder pipeline stages cli sample_frames/renderer tests)
  if(IS_DIRECTORY ${CMAKE_CURRENT_SOURCE_DIR}/${folder})
    use_precompiled_below(${CMAKE_CURRENT_SOURCE_DIR}/${folder})
  endif()
endforeach()
