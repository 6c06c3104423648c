include(CMakeFindDependencyMacro)
find_dependency(Threads)
find_dependency(Boost 1.74 COMPONENTS program_options)
find_dependency(Eigen3 3.4)
find_dependency(tl-expected)
find_dependency(nlohmann_json 3.11)
find_dependency(OpenSSL COMPONENTS Crypto)
find_dependency(DCMTK 3.6.7 CONFIG)
find_dependency(OpenCV 4.6 COMPONENTS core imgproc)
find_dependency(ITK 5.2
  COMPONENTS ITKCommon ITKIOImageBase ITKIOPNG ITKIOTIFF ITKIOJPEG ITKTransform ITKImageFunction
             ITKImageGrid ITKSmoothing ITKMetricsv4 ITKOptimizersv4 ITKRegistrationMethodsv4)
find_dependency(VTK 9.1 COMPONENTS CommonCore CommonDataModel FiltersCore FiltersGeneral
                                   IOGeometry IOPLY)
find_dependency(PkgConfig)
pkg_check_modules(OpenJPEG REQUIRED IMPORTED_TARGET libopenjp2)
pkg_check_modules(Cairo REQUIRED IMPORTED_TARGET cairo)
include(${CMAKE_CURRENT_LIST_DIR}/TidemarkTargets.cmake)
