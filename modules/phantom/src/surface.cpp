// The only file that sees VTK: reads surfaces and draws contours.
#include <vtkCellArray.h>
#include <vtkFloatArray.h>
#include <vtkFlyingEdges3D.h>
#include <vtkImageData.h>
#include <vtkNew.h>
#include <vtkOBJReader.h>
#include <vtkObject.h>
#include <vtkPLYReader.h>
#include <vtkPointData.h>
#include <vtkPolyData.h>
#include <vtkSTLReader.h>
#include <vtkTriangleFilter.h>

#include <Eigen/Dense>
#include <cmath>
#include <optional>
#include <system_error>

#include "grid.h"
#include "tidemark/phantom/mesh.h"

namespace tidemark::phantom {
namespace {

TriangleMesh from_vtk(vtkPolyData* data) {
  TriangleMesh mesh;
  for (vtkIdType i = 0; i < data->GetNumberOfPoints(); ++i) {
    mesh.points.emplace_back(Eigen::Map<const Vec3>(data->GetPoint(i)));
  }
  vtkCellArray* cells = data->GetPolys();
  vtkNew<vtkIdList> corners;
  for (vtkIdType i = 0; i < cells->GetNumberOfCells(); ++i) {
    cells->GetCellAtId(i, corners);
    if (corners->GetNumberOfIds() != 3) continue;
    mesh.triangles.push_back({static_cast<int>(corners->GetId(0)),
                              static_cast<int>(corners->GetId(1)),
                              static_cast<int>(corners->GetId(2))});
  }
  return mesh;
}

template <class Reader>
TriangleMesh read_with(const std::filesystem::path& file) {
  vtkNew<Reader> reader;
  reader->SetFileName(file.c_str());
  vtkNew<vtkTriangleFilter> triangles;
  triangles->SetInputConnection(reader->GetOutputPort());
  triangles->Update();
  return from_vtk(triangles->GetOutput());
}

/// Rows: patient left, posterior, superior; columns: the file's axes.
std::optional<Eigen::Matrix3d> axes_matrix(const std::string& axes) {
  if (axes.size() != 3) return std::nullopt;
  Eigen::Matrix3d lps_from_file = Eigen::Matrix3d::Zero();
  for (int i = 0; i < 3; ++i) {
    const std::string letters = "LPSRAI";
    const std::size_t found = letters.find(axes[static_cast<std::size_t>(i)]);
    if (found == std::string::npos) return std::nullopt;
    lps_from_file(static_cast<int>(found % 3), i) = found < 3 ? 1.0 : -1.0;
  }
  if (std::abs(std::abs(lps_from_file.determinant()) - 1.0) > 1e-9) return std::nullopt;
  return lps_from_file;
}

}  // namespace

Expected<TriangleMesh> read_surface(const std::filesystem::path& file, const std::string& axes) {
  const auto refuse = [&](const char* wrong, const char* remedy) {
    return fail(ErrorKind::kBadInput, file.filename().string(), wrong, remedy);
  };
  const auto lps_from_file = axes_matrix(axes);
  if (!lps_from_file) {
    return refuse("the axes are no three of L R A P S I", "name them like LPS");
  }
  std::error_code ignored;
  if (!std::filesystem::is_regular_file(file, ignored)) {
    return refuse("no such file", "give a closed surface as .obj, .stl or .ply");
  }
  vtkObject::GlobalWarningDisplayOff();
  const std::string kind = file.extension().string();
  TriangleMesh mesh;
  if (kind == ".obj") {
    mesh = read_with<vtkOBJReader>(file);
  } else if (kind == ".stl") {
    mesh = read_with<vtkSTLReader>(file);
  } else if (kind == ".ply") {
    mesh = read_with<vtkPLYReader>(file);
  } else {
    return refuse("unknown kind of surface", "give a closed surface as .obj, .stl or .ply");
  }
  if (!is_closed(mesh)) return refuse("the surface is not closed", "fill its holes first");
  Vec3 low = mesh.points.front();
  Vec3 high = low;
  for (const Vec3& p : mesh.points) {
    low = low.cwiseMin(p);
    high = high.cwiseMax(p);
  }
  if ((high - low).maxCoeff() < 5.0) {
    mesh = mapped(std::move(mesh), 1000.0 * Eigen::Matrix3d::Identity(), Vec3::Zero());
  }
  mesh = mapped(std::move(mesh), *lps_from_file, Vec3::Zero());
  return signed_volume(mesh) < 0.0 ? turned_inside_out(std::move(mesh)) : mesh;
}

TriangleMesh contour(const ScalarGrid& grid) {
  vtkNew<vtkFloatArray> values;
  values->SetArray(const_cast<float*>(grid.values.data()),  // VTK only reads it
                   static_cast<vtkIdType>(grid.values.size()), 1);
  vtkNew<vtkImageData> image;
  image->SetDimensions(grid.size[0], grid.size[1], grid.size[2]);
  image->SetOrigin(grid.origin.x(), grid.origin.y(), grid.origin.z());
  image->SetSpacing(grid.step_mm, grid.step_mm, grid.step_mm);
  image->GetPointData()->SetScalars(values);
  vtkNew<vtkFlyingEdges3D> edges;
  edges->SetInputData(image);
  edges->SetValue(0, 0.0);
  edges->ComputeNormalsOff();
  edges->ComputeGradientsOff();
  edges->ComputeScalarsOff();
  edges->Update();
  TriangleMesh mesh = from_vtk(edges->GetOutput());
  return signed_volume(mesh) < 0.0 ? turned_inside_out(std::move(mesh)) : mesh;
}

}  // namespace tidemark::phantom
