"""By which headers address tables are known: the open standards, then what counties call their columns.

The standards are the site/structure address points of NENA-STA-006 (v1 of 2018, v2, v3 of 2026), the National
Address Database (old and new), OpenAddresses and the `addr:*` tags of OpenStreetMap; the county names are the
commonest of the 1,923 sources in the United States that OpenAddresses describes. All are in the form that
`columns.plain` gives, best documented first: where a table has two, the first is read and a note says so.
"""

from __future__ import annotations

from collections.abc import Mapping

NUMBER_PARTS = ("addnum_pre", "number", "addnum_suf")
"""Parts of a house number in the order they are written."""
STREET_PARTS = (
    "st_premod", "st_predir", "st_pretyp", "st_presep", "st_name", "st_postyp", "st_posdir", "st_posmod",
)  # fmt: skip
"""Parts of a street name in the order they are spoken, as the open address standards name them."""
UNIT_PARTS = ("unit_type", "unit")

PLACE_ALIASES: Mapping[str, tuple[str, ...]] = {
    "lon": ("longitude", "long", "lng", "x", "point_x", "gpsx", "gps_x", "gps_lon", "x_coord", "xcoord", "lon_dd",
            "long_dd", "longitude_dd", "dec_long", "ddlon", "x_long", "longitud"),
    "lat": ("latitude", "y", "point_y", "gpsy", "gps_y", "gps_lat", "y_coord", "ycoord", "lat_dd", "latitude_dd",
            "dec_lat", "ddlat", "y_lat"),
    "geometry": ("wkt", "geom", "the_geom", "shape_wkt", "wkt_geom"),
}  # fmt: skip
"""Headers of a place, the same in every table."""

ADDRESS_ALIASES: Mapping[str, tuple[str, ...]] = {
    **PLACE_ALIASES,
    "address_id": (
        "nguid", "site_nguid", "uuid", "guid", "hash",
        "siteaddid", "siteaddrid", "site_addr_id", "addressid", "addrid", "addr_id", "addid", "add_id", "esiteid",
        "esite_id", "addrptid", "addr_pt_id", "addressptid", "addptid", "address_point_id", "pointid", "point_id",
        "full_id", "osm_id", "id", "globalid", "global_id", "gid", "fid", "ogc_fid", "objectid", "oid",
    ),
    "label": (
        "full_address", "fulladdress", "fulladdr", "full_addr", "fulladd", "full_add", "address_full", "addressfull",
        "addr_full", "addrfull", "addfull", "add_full", "complete_address", "siteaddr", "site_addr", "site_address",
        "siteaddress", "siteadd", "site_add", "situs_address", "situsaddress", "situs_addr", "situsaddr", "situs",
        "propaddress", "prop_address", "property_address", "propertyaddress", "prop_addr", "propaddr", "propadd",
        "physical_address", "physicaladdress", "phys_addr", "physaddr", "phy_addr", "e911_address", "e911address",
        "e911_addr", "e911addr", "e911_add", "primaryaddress", "primary_address", "location_address", "loc_addr",
        "locaddr", "street_address", "streetaddress", "house_address", "addr_label", "address_label", "address",
        "addr", "address1", "address_1", "addressline1", "address_line_1", "addr1",
    ),
    "addnum_pre": (
        "addrnumpre", "addnumpre", "addr_num_pre", "add_num_pre", "house_number_prefix", "house_numberprefix",
        "housenumberprefix", "number_prefix", "num_pre", "numpre",
    ),
    # the whole number with prefix and suffix only where the bare one is missing, since the parts are joined
    "number": (
        "add_number", "addno_full", "addnum_cmp", "addr_housenumber", "house_number", "housenumber", "addrnum",
        "addnum", "housenum", "stnum", "house_no", "street_num", "house_num", "anumber", "addr_num",
        "address_number", "st_number", "st_num", "addressnumber", "street_number", "streetnumber", "street_no",
        "streetnum", "addr_number", "addrnumber", "address_num", "address_no", "addr_no", "addrno", "add_num",
        "add_no", "addno", "houseno", "hse_num", "hsenum", "hse_no", "hs_no", "hnum", "house_nbr", "housenbr",
        "addr_nbr", "str_num", "strnum", "str_no", "stno", "st_no", "situs_num", "situsnum", "situs_no",
        "situs_number", "prop_num", "civic_number", "civic_num", "civic_no", "primary_number", "loc_num",
    ),
    "addnum_suf": (
        "addrnumsuf", "addnumsuf", "addr_num_suf", "add_num_suf", "house_number_suffix", "house_numbersuffix",
        "housenumbersuffix", "house_suffix", "number_suffix", "num_suf", "numsuf", "addr_suf", "addr_suffix",
    ),
    "street": (
        "stnam_full", "addr_street", "street_full", "streetfull", "full_street", "fullstreet", "full_street_name",
        "fullstreetname", "fullname", "full_name", "primaryname", "roadname", "road_name", "roadnamefull",
        "stname_full", "st_full", "stfullname", "str_name", "strname", "rd_name", "rdname", "road", "situs_street",
        "situsstreet", "streetlabel", "street_label", "msag_street", "lst_full",
    ),
    "st_premod": ("stn_premod", "premod", "pre_mod"),
    "st_predir": (
        "stn_predir", "predir", "pre_dir", "predirection", "pre_direction", "stpredir", "street_predir", "dir_pre",
        "prefixdir", "prefix_dir", "predirectional", "prefix_direction", "lst_predir", "prefix",
    ),
    "st_pretyp": ("stn_pretyp", "pretype", "pre_type", "st_pretype", "stpretyp", "prefixtype", "prefix_type"),
    "st_presep": ("stn_presep", "presep", "pre_sep"),
    "st_name": (
        "streetname", "stname", "street_name", "street_nam", "street_nm", "strt_name", "basename", "base_name",
        "streetbase", "lst_name",
    ),
    "st_postyp": (
        "stn_postyp", "streettype", "st_type", "street_type", "sttype", "street_typ", "posttype", "post_type",
        "st_postype", "stpostyp", "str_type", "strtype", "suftype", "suf_type", "suffixtype", "suffix_type",
        "street_suffix", "streetsuffix", "st_suffix", "stsuffix", "st_suf", "lst_typ", "lst_type", "suffix",
    ),
    "st_posdir": (
        "stn_posdir", "postdir", "post_dir", "posdir", "sufdir", "suf_dir", "st_postdir", "stpostdir", "stposdir",
        "postdirection", "post_direction", "suffixdir", "suffix_dir", "suffix_direction", "lst_posdir",
    ),
    "st_posmod": ("stn_posmod", "posmod", "pos_mod", "postmod", "post_mod"),
    "unit_type": ("unitpretyp", "addr_unit_label", "unittype", "unit_desig", "unitdesig", "unit_des"),
    "unit": (
        "unitvalue", "addr_unit", "unitid", "unitnum", "unit_num", "unit_number", "unitnumber", "unit_no", "unitno",
        "apt", "apt_no", "aptno", "apt_num", "aptnum", "apartment",
    ),
    "occupancy": (
        "place_type", "addr_type", "site_type", "sitetype", "occupancy_type", "occ_type", "occupancytype",
        "structure_type", "structuretype", "structtype", "struct_type", "struc_type", "structype",
        "building_type", "buildingtype", "bldg_type", "bldgtype", "addresstype", "address_type", "addrtype",
        "add_type", "addtype", "point_type", "pointtype", "property_type", "proptype", "prop_type", "building_use",
        "bldg_use", "use_type", "usetype", "use_desc", "usedesc", "land_use", "landuse",
    ),
    # never bare 'height': the standards mean the height of the place above the sea or the ellipsoid
    "length_ft": ("bldg_length", "building_length"),
    "width_ft": ("bldg_width", "building_width"),
    "height_ft": ("bldg_height", "building_height"),
    "floor_area_sqft": (
        "floor_area", "sqft", "sq_ft", "living_area_sqft", "bldg_sqft", "building_sqft", "square_feet", "squarefeet",
        "total_sqft", "gross_sqft",
    ),
    "stories": ("storeys", "num_stories", "no_stories", "nstories", "number_of_stories", "floors", "num_floors",
                "building_levels"),
    "sprinklered": ("sprinkler", "sprinklers"),
    "driveway_ft": ("driveway", "driveway_length", "driveway_length_ft"),
}  # fmt: skip
"""Headers of each column of the address table."""
ADDRESS_MEANT: Mapping[str, tuple[str, ...]] = {
    "occupancy": (
        "use",
        "use_code",
        "use_class",
        "use_description",
        "lu_desc",
        "lu_code",
        "land_use_code",
        "land_use_desc",
        "landuse_desc",
        "landuse_code",
        "prop_class",
        "property_class",
        "property_use",
        "prop_use",
        "parcel_use",
        "class_desc",
        "class_code",
        "class_description",
        "occupancy_code",
        "occ_code",
        "building_class",
        "bldg_class",
        "bldg_desc",
        "building_desc",
        "struct_desc",
        "structure_use",
        "occ",
        "occ_class",
        "descr",
        "description",
    ),
    "floor_area_sqft": (
        "gross_area",
        "living_area",
        "bldg_area",
        "building_area",
        "heated_area",
        "heated_sf",
        "heated_sqft",
        "finished_area",
        "finished_sf",
        "finished_sqft",
        "total_area",
        "gross_sf",
        "total_sf",
        "bldg_sf",
        "living_sf",
        "area_sf",
        "area_sqft",
        "gla",
        "gross_floor_area",
        "footprint_area",
        "footprint_sqft",
        "living_sqft",
        "living_area_sf",
    ),
    "stories": ("story", "storey", "levels", "num_floors_above", "bldg_stories", "floor_count", "story_count"),
}
"""Headers that may mean one and leave its words or its unit open: asked about, not read."""
