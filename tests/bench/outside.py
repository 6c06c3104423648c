"""Registration by programs that are called, not linked, and what a motion of the bone means."""
import math
import pathlib
import re
import resource
import shutil
import subprocess

#: Rigid, mutual information of both masks, three levels; the other values are the program's own.
ELASTIX = """
(FixedInternalImagePixelType "float")
(MovingInternalImagePixelType "float")
(UseDirectionCosines "true")
(Registration "MultiResolutionRegistration")
(Interpolator "BSplineInterpolator")
(ResampleInterpolator "FinalBSplineInterpolator")
(Resampler "DefaultResampler")
(FixedImagePyramid "FixedSmoothingImagePyramid")
(MovingImagePyramid "MovingSmoothingImagePyramid")
(Optimizer "AdaptiveStochasticGradientDescent")
(Transform "EulerTransform")
(Metric "AdvancedMattesMutualInformation")
(AutomaticScalesEstimation "true")
(AutomaticTransformInitialization "false")
(HowToCombineTransforms "Compose")
(NumberOfHistogramBins 32)
(ErodeMask "false")
(NumberOfResolutions 3)
(MaximumNumberOfIterations 500)
(NumberOfSpatialSamples 4096)
(NewSamplesEveryIteration "true")
(ImageSampler "RandomCoordinate")
(WriteResultImage "false")
"""
START = """
(Transform "EulerTransform")
(NumberOfParameters 3)
(TransformParameters {angle:.10f} {x:.8f} {y:.8f})
(CenterOfRotationPoint 0 0)
(InitialTransformParametersFileName "NoInitialTransform")
(HowToCombineTransforms "Compose")
(FixedImageDimension 2)
(MovingImageDimension 2)
(Size 1 1)
(Index 0 0)
(Spacing 1 1)
(Origin 0 0)
(Direction 1 0 0 1)
"""


def apply(motion, point):
    c, s = math.cos(motion["angle_rad"]), math.sin(motion["angle_rad"])
    return (c * point[0] - s * point[1] + motion["x_mm"],
            s * point[0] + c * point[1] + motion["y_mm"])


def apply_inverse(motion, point):
    c, s = math.cos(motion["angle_rad"]), math.sin(motion["angle_rad"])
    x, y = point[0] - motion["x_mm"], point[1] - motion["y_mm"]
    return c * x + s * y, -s * x + c * y


def after(second, first):
    """First, then second."""
    x, y = apply(second, (first["x_mm"], first["y_mm"]))
    return {"angle_rad": first["angle_rad"] + second["angle_rad"], "x_mm": x, "y_mm": y}


def subsidence(pair, bone):
    """Way of the stem's reference point along the shaft, in the bone of the reference film, mm."""
    point = pair["point_mm"]
    moved = apply_inverse(bone, apply(pair["stem"], point))
    return sum(pair["distal"][k] * (moved[k] - point[k]) for k in (0, 1))


def numbers_after(text, key):
    found = re.search(rf"\({key} ([^)]*)\)", text)
    return [float(word) for word in found.group(1).split()]


def motion_of(text):
    """The motion in a file of transform parameters, without its start."""
    angle, x, y = numbers_after(text, "TransformParameters")
    centre = numbers_after(text, "CenterOfRotationPoint")
    c, s = math.cos(angle), math.sin(angle)
    return {"angle_rad": angle, "x_mm": centre[0] + x - (c * centre[0] - s * centre[1]),
            "y_mm": centre[1] + y - (s * centre[0] + c * centre[1])}


def processor_seconds():
    """Of all programs called so far: wall time would measure the neighbours."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def by_elastix(pair):
    folder = pathlib.Path(pair["export"])
    (folder / "parameters.txt").write_text(ELASTIX)
    start = pair["start"]
    (folder / "start.txt").write_text(START.format(angle=start["angle_rad"], x=start["x_mm"],
                                                   y=start["y_mm"]))
    out = folder / "out"
    out.mkdir(exist_ok=True)
    command = ["elastix", "-f", "fixed.mhd", "-m", "moving.mhd", "-fMask", "fixed_voting.mhd",
               "-mMask", "moving_usable.mhd", "-t0", "start.txt", "-p", "parameters.txt", "-out",
               "out", "-threads", "1"]
    begin = processor_seconds()
    done = subprocess.run(command, cwd=folder, stdout=subprocess.DEVNULL,
                          stderr=subprocess.DEVNULL, check=False)
    row = {"method": "mutual information (elastix)", "seconds": processor_seconds() - begin}
    result = out / "TransformParameters.0.txt"
    if done.returncode == 0 and result.is_file():
        row["bone"] = after(motion_of(result.read_text()), start)
    return row


def run_all(pair):
    """Every program that is installed."""
    return [by_elastix(pair)] if shutil.which("elastix") and "export" in pair else []
