// The only file of the module that sees VTK.
#include <vtkCellArray.h>
#include <vtkIdList.h>
#include <vtkNew.h>
#include <vtkObject.h>
#include <vtkPoints.h>
#include <vtkPolyData.h>
#include <vtkQuadricDecimation.h>
#include <vtkTriangleFilter.h>
#include <vtkXMLPolyDataReader.h>

#include <exception>
#include <regex>
#include <string_view>

#include "read.h"

namespace tidemark::surface {
namespace {

Mesh from_vtk(vtkPolyData* data) {
  Mesh mesh;
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

/// Whether the file's XML announces more than is read; VTK makes room before it looks.
bool announces_too_much(const std::string& text) {
  static const std::regex number("(NumberOf[A-Za-z]+|NumberOfTuples)\\s*=\\s*[\"'](\\d+)[\"']");
  const std::string head = text.substr(0, 65536);
  for (auto at = std::sregex_iterator(head.begin(), head.end(), number);
       at != std::sregex_iterator(); ++at) {
    const std::string digits = (*at)[2];
    if (digits.size() > 8 || std::stoul(digits) > 6 * kMostTriangles) return true;
  }
  return false;
}

}  // namespace

Parsed<Mesh> parse_vtp(std::span<const std::byte> bytes) {
  const std::string text(reinterpret_cast<const char*>(bytes.data()), bytes.size());
  if (text.find("<VTKFile") == std::string::npos) {
    return tl::unexpected(std::string("this is no VTP file"));
  }
  if (announces_too_much(text)) return tl::unexpected(std::string("it holds too many triangles"));
  vtkObject::GlobalWarningDisplayOff();
  try {
    vtkNew<vtkXMLPolyDataReader> reader;
    reader->ReadFromInputStringOn();
    reader->SetInputString(text);
    vtkNew<vtkTriangleFilter> triangles;
    triangles->SetInputConnection(reader->GetOutputPort());
    triangles->Update();
    if (reader->GetErrorCode() != 0) return tl::unexpected(std::string("the file is damaged"));
    return from_vtk(triangles->GetOutput());
  } catch (const std::exception&) {
    return tl::unexpected(std::string("the file is damaged"));
  }
}

Mesh thinned(const Mesh& mesh, std::size_t triangles) {
  vtkNew<vtkPoints> points;
  points->SetDataTypeToDouble();
  for (const Vec3& p : mesh.points) points->InsertNextPoint(p.data());
  vtkNew<vtkCellArray> cells;
  for (const auto& t : mesh.triangles) cells->InsertNextCell({t[0], t[1], t[2]});
  vtkNew<vtkPolyData> data;
  data->SetPoints(points);
  data->SetPolys(cells);
  vtkNew<vtkQuadricDecimation> filter;
  filter->SetInputData(data);
  filter->SetTargetReduction(1.0 - static_cast<double>(triangles) /
                                       static_cast<double>(mesh.triangles.size()));
  filter->Update();
  return from_vtk(filter->GetOutput());
}

}  // namespace tidemark::surface
