"""A small invented yard folder without faults, as text, for the tests of this directory to spoil."""

from __future__ import annotations

from pathlib import Path

TABLES = {
    "holes": (
        "hole_id,area,east_m,north_m,elevation_m,azimuth_deg,dip_deg,total_depth_m,remark\n"
        "TS-01,north,1000.5,2000.25,310,90,-60,12.5,\n"
        "TS-02,,1040,2000,311.5,92.5,-55,9.1,cased to 2 m\n"
    ),
    "surveys": "hole_id,depth_m,azimuth_deg,dip_deg,instrument\nTS-01,6,90.5,-60.2,gyro\nTS-01,12,91,-60.5,gyro\n",
    "runs": (
        "hole_id,run,from_m,to_m,recovered_m,rqd_m,solid_m,fractures,core_size,remark\n"
        "TS-01,1,0,3.0,2.95,2.5,2.7,4,NQ,\n"
        "TS-01,2,3.0,6.05,3.05,,,,NQ,\n"
        "TS-02,1,0,3.05,2.4,1.1,1.6,12,HQ,\n"
    ),
    "losses": "hole_id,from_m,lost_m,position,remark\nTS-02,1.2,0.65,seen,ground core\n",
    "trays": (
        "hole_id,tray,from_m,to_m,rows,row_length_m,row_ends_m,remark\n"
        "TS-01,1,0,4.1,4,1.05,1.02 2.05 3.1,\n"
        "TS-01,2,4.1,8.2,4,1.05,,\n"
        "TS-02,1,0,3.05,4,1.05,,\n"
    ),
    "rock": (
        "hole_id,from_m,to_m,rock,hardness,condition,grade_class,contact,vein,sampling,caution\n"
        "TS-01,0,2.2,GRD,R4,intact,barren,soft,no,,\n"
        "TS-01,2.2,3.1,QV,R5,blocky,visible,hard,yes,always,visible metal\n"
        "TS-02,0,3.05,GRD,,rubble,low,soft,,rules,\n"
    ),
    "orientation_marks": "hole_id,depth_m,angle_deg,line,joint\nTS-01,3,-2.5,solid,locked\n",
    "fabric": "hole_id,depth_m,alpha_deg,beta_deg,thickness_mm,kind\nTS-01,2.4,35,182,90,vein\nTS-01,2.9,41,,,joint\n",
    "density": (
        "hole_id,from_m,to_m,mass_dry_g,mass_in_water_g,density_t_m3,method\n"
        "TS-01,2.0,2.1,812.4,512.3,,immersion\n"
        "TS-01,2.5,2.6,,,2.63,given\n"
    ),
    "rock_codes": "rock,name,density_t_m3,density_sd_t_m3\nGRD,grey granodiorite,2.7,0.04\nQV,quartz vein,2.65,0.05\n",
    "materials": "material,kind,in_stock,mass_g,grade_g_t,lot,remark\nS-1,standard,40,60,1.52,L7,\nB-1,coarse blank,60,800,,,\n",
    "certified_values": "material,element,unit,certified,performance_sd,expanded_uncertainty,coverage_factor,"
    "laboratories,upper_limit,remark\nS-1,Au,g/t,1.52,0.06,0.02,2,14,,\nB-1,Au,g/t,,,,,,0.025,\n",
    "tickets": "book,prefix,first,last,digits,hole_id,voids\nA,TS,1001,1100,6,,1007 1012\nB,TS,1101,1150,6,TS-02,\n",
    "saws": (
        "saw,kind,spindle_rpm,largest_blade_mm,flange_diameter_mm,water,water_low_l_min,water_high_l_min,remark\n"
        "A-1,automatic,1425,350,120,recirculated,3.5,6,\nS-1,splitter,,,,,,,\n"
    ),
    "blades": (
        "blade,blade_type,diameter_mm,segment_height_mm,stamped_rpm,segments,segment_length_mm,segment_width_mm,kerf_mm,bond,"
        "price,lead_days,remark\nB-1,T-350,350,10,4365,24,40,3.2,3,medium,180,12,\nB-2,T-350,350,10,,,,,,,,,stamp worn off\n"
    ),
}
RULES = 'yard = "Small test yard"\n\n[sampling]\nnominal_m = 1.0\n'


def write_yard(
    folder: Path, changes: dict[str, str | bytes | None] | None = None, *, rules: str | None = RULES
) -> Path:
    """Write the small yard; `changes` replaces the text of tables, None leaves a table out."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in (TABLES | (changes or {})).items():
        if isinstance(text, bytes):
            (folder / f"{name}.csv").write_bytes(text)
        elif text is not None:
            (folder / f"{name}.csv").write_text(text, encoding="utf-8", newline="")
    if rules is not None:
        (folder / "rules.toml").write_text(rules, encoding="utf-8")
    return folder
