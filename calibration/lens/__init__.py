"""The lens: found boards, fit with covariance, profiles, matching by EXIF."""
