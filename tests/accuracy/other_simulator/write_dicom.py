"""A valid Digital X-Ray (for presentation) file without any identity."""
import numpy as np
from pydicom.dataset import Dataset, FileDataset, FileMetaDataset
from pydicom.sequence import Sequence
from pydicom.uid import ExplicitVRLittleEndian, generate_uid


def write(path, pixels, *, hip, side, date, bits, photometric, pitch, spacing, sid, ofd, laterality, body_part, number, view="AP",
          faces=False):
    """`spacing`: 'imager', 'both' (PixelSpacing repeats it), 'none'. `sid`, `ofd` may be None (tag left out). `faces`: of a
    lateral film, whether PatientOrientation tells front from back, or says what a frontal film's does."""
    uid = lambda what: generate_uid(entropy_srcs=[hip, str(number), what, date])
    meta = FileMetaDataset()
    meta.MediaStorageSOPClassUID = "1.2.840.10008.5.1.4.1.1.1.1"
    meta.MediaStorageSOPInstanceUID = uid("instance")
    meta.TransferSyntaxUID = ExplicitVRLittleEndian
    ds = FileDataset(None, {}, file_meta=meta, preamble=b"\0" * 128)
    ds.is_little_endian, ds.is_implicit_VR = True, False
    ds.SOPClassUID, ds.SOPInstanceUID = meta.MediaStorageSOPClassUID, meta.MediaStorageSOPInstanceUID
    ds.StudyInstanceUID, ds.SeriesInstanceUID = uid("study"), uid("series")
    ds.PatientName, ds.PatientID, ds.PatientBirthDate, ds.PatientSex = "", hip, "", "O"
    day = date.replace("-", "")
    ds.StudyDate = ds.ContentDate = ds.AcquisitionDate = day
    ds.StudyTime = ds.ContentTime = ds.AcquisitionTime = "101500"
    ds.StudyID, ds.AccessionNumber, ds.ReferringPhysicianName = "1", "", ""
    ds.Modality, ds.SeriesNumber, ds.InstanceNumber, ds.Manufacturer = "DX", 1, number + 1, "simulated"
    ds.BodyPartExamined, ds.ViewPosition = body_part, view
    if laterality:
        ds.ImageLaterality = side
    # the back of a right hip lies at the film's right, that of a left one, its mirror image, at the left
    ds.PatientOrientation = [("A" if side == "L" else "P") if faces else "L", "F"]
    ds.Rows, ds.Columns = pixels.shape
    ds.SamplesPerPixel, ds.PhotometricInterpretation = 1, photometric
    wide = bits > 8
    ds.BitsAllocated, ds.BitsStored, ds.HighBit, ds.PixelRepresentation = (16 if wide else 8), bits, bits - 1, 0
    if spacing != "none":
        ds.ImagerPixelSpacing = [round(pitch, 6), round(pitch, 6)]
    if spacing == "both":
        ds.PixelSpacing = [round(pitch, 6), round(pitch, 6)]
    if sid:
        ds.DistanceSourceToDetector = round(sid, 1)
    if sid and ofd:
        ds.DistanceSourceToPatient = round(sid - ofd, 1)
    ds.RescaleIntercept, ds.RescaleSlope, ds.RescaleType = 0, 1, "US"
    ds.WindowCenter, ds.WindowWidth = 2 ** (bits - 1), 2 ** bits
    ds.PresentationLUTShape = "INVERSE" if photometric == "MONOCHROME1" else "IDENTITY"
    ds.ImageType, ds.PresentationIntentType = ["ORIGINAL", "PRIMARY", ""], "FOR PRESENTATION"
    ds.PixelIntensityRelationship, ds.PixelIntensityRelationshipSign = "LOG", (1 if photometric == "MONOCHROME1" else -1)
    ds.LossyImageCompression, ds.BurnedInAnnotation = "00", "NO"
    ds.DetectorType, ds.PositionerType = "", "NONE"
    region = Dataset()
    region.CodeValue, region.CodingSchemeDesignator, region.CodeMeaning = "24136001", "SCT", "Hip joint"
    ds.AnatomicRegionSequence, ds.AcquisitionContextSequence = Sequence([region]), Sequence([])
    data = pixels if wide else pixels.astype(np.uint8)
    raw = data.tobytes()
    ds.PixelData = raw + b"\0" * (len(raw) % 2)
    ds["PixelData"].VR = "OW" if wide else "OB"
    ds.save_as(path, write_like_original=False)
